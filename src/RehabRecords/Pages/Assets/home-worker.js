// Keeps the recording page of a link on the phone, so that it opens without a connection. Reports are kept by the page itself.
const KEPT = 'home-1';
const PATIENCE = 6000;
const isRecordingPage = url => /^\/home\/[^/]+$/.test(url.pathname);

self.addEventListener('install', () => self.skipWaiting());
self.addEventListener('activate', event => event.waitUntil(self.clients.claim()));
self.addEventListener('fetch', event => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== 'GET' || url.origin !== self.location.origin) return;
  if (request.mode === 'navigate' && isRecordingPage(url)) event.respondWith(page(event, url));
  else if (url.pathname.startsWith('/assets/home')) event.respondWith(asset(request));
});

// The newest page when it comes in time, else the one that was kept. A link that stopped working is forgotten.
async function page(event, url) {
  const cache = await caches.open(KEPT);
  const fresh = fetch(event.request).then(async answer => {
    if (answer.ok) await cache.put(url.pathname, answer.clone());
    else if (answer.status === 404) await cache.delete(url.pathname);
    return answer;
  });
  event.waitUntil(fresh.catch(() => {}));
  const late = new Promise(resolve => setTimeout(resolve, PATIENCE));
  const kept = () => cache.match(url.pathname);
  try {
    const answer = await Promise.race([fresh, late.then(kept)]);
    if (answer && answer.status < 500) return answer;
    return await kept() ?? answer ?? await fresh;
  } catch {
    return await kept() ?? Response.error();
  }
}

// The address of a file changes with its content, so what is kept is never old.
async function asset(request) {
  const cache = await caches.open(KEPT);
  const kept = await cache.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  if (answer.ok) await cache.put(request, answer.clone());
  return answer;
}
