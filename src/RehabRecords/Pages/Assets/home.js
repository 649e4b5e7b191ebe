// The recording page without a connection: a report is put down on the phone before it is sent, and taken away only
// once the service has it. Each has an identifier of its own, so sending twice makes no second session.
const PREFIX = 'home-report:';
const RETRY = 60_000;
// As in the box of the page: with some warning signs a call depends, and their own text says on what.
const CALL = /Call the emergency number/;
const form = document.querySelector('form.report');
const waiting = document.querySelector('#waiting');
const result = document.querySelector('#result');

const el = (name, text, more = {}) => Object.assign(document.createElement(name), { textContent: text ?? '' }, more);
const field = name => form.elements[name];
const chosen = name => new FormData(form).get(name) ?? '';

const shelf = {
  works() {
    try {
      localStorage.setItem('home-test', '1');
      localStorage.removeItem('home-test');
      return typeof crypto.randomUUID === 'function';
    } catch { return false; }
  },
  put(report) { localStorage.setItem(PREFIX + report.id, JSON.stringify(report)); },
  drop(report) { localStorage.removeItem(PREFIX + report.id); },
  all() {
    return Object.keys(localStorage).filter(key => key.startsWith(PREFIX))
      .map(key => JSON.parse(localStorage.getItem(key))).sort((a, b) => a.at.localeCompare(b.at));
  },
};

// What the service said: sent, refused (with what to put right), gone (the link), or nothing that counts yet.
async function send(report) {
  try {
    const answer = await fetch(report.path, {
      method: 'POST', body: new URLSearchParams(report.body), headers: { Accept: 'application/json' }, cache: 'no-store', signal: AbortSignal.timeout(20_000),
    });
    if (answer.status === 404) return { state: 'gone' };
    if (answer.status !== 200 && answer.status !== 422) return { state: 'waiting' };
    const said = await answer.json();
    return { state: said.faults.length === 0 ? 'sent' : 'refused', ...said };
  } catch { return { state: 'waiting' }; }
}

// What can be seen here already, so that a report kept for later is not sent back then.
function faultsOf() {
  const faults = [];
  const marked = [...form.querySelectorAll('.exercise')].filter(e => e.querySelector('[name^="e-"]:checked')?.value);
  const flags = form.querySelectorAll('[name=flag]:checked').length;
  if (chosen('session') === 'missed') {
    if (!chosen('missed-day')) faults.push('Say on which day there was no practice.');
    if (!chosen('missed-reason')) faults.push('Choose why there was no practice. “Another reason” is a choice too.');
    if (marked.length) faults.push('You say that there was no practice, and an exercise is marked too. Change one of them.');
    return faults;
  }
  if (!marked.length && !flags) faults.push('Nothing is marked yet. Mark an exercise as done or left out, or say that there was no practice.');
  for (const exercise of marked) {
    const left = exercise.querySelector('[value=left-out]').checked;
    const count = exercise.querySelector('.step input');
    if (left && !exercise.querySelector('.left-part select').value) faults.push(`${exercise.dataset.title}: choose why it was left out. “Another reason” is a choice too.`);
    if (!left && !/^\d*$/.test(count.value)) faults.push(`${exercise.dataset.title}: give a whole number, or leave it empty.`);
  }
  if (chosen('when') === 'earlier') {
    if (!chosen('day') || !chosen('time')) faults.push('Say on which day and at about what time it was done.');
    else if (new Date(`${chosen('day')}T${chosen('time')}`) > new Date()) faults.push('The time is still to come. Give the time at which it was done.');
  }
  return faults;
}

// In words, so that it can be read out if it can never be sent.
function wordsOf(body) {
  const said = new URLSearchParams(body);
  const lines = said.getAll('flag').map(code => document.querySelector(`label[for="flag-${CSS.escape(code)}"]`)?.textContent ?? code);
  if (said.get('session') === 'missed') lines.push(`No practice on ${said.get('missed-day')}`);
  else for (const exercise of form?.querySelectorAll('.exercise') ?? []) {
    const name = exercise.querySelector('[name^="e-"]').name.slice(2);
    const state = said.get(`e-${name}`);
    if (!state) continue;
    const count = said.get(`n-${name}`) || said.get(`m-${name}`);
    const pain = said.get(`p-${name}`);
    lines.push(`${exercise.dataset.title}: ${state === 'done' ? 'done' : 'left out'}${state === 'done' && count ? `, ${count}` : ''}${state === 'done' && pain ? `, pain ${pain}` : ''}`);
  }
  if (said.get('tell')) lines.push(`“${said.get('tell')}”`);
  return lines;
}

function say(title, lines, urgent = []) {
  result.replaceChildren();
  if (urgent.length) {
    const box = el('section', '', { className: 'urgent' });
    box.setAttribute('role', 'alert');
    box.append(el('h2', urgent.some(u => u.emergency) ? 'Act now' : 'Do this first'));
    if (urgent.some(u => CALL.test(u.text))) box.append(document.querySelector('#call .call').cloneNode(true));
    for (const flag of urgent) {
      const line = el('p');
      line.append(el('strong', `${flag.title}. `), flag.text);
      box.append(line);
    }
    result.append(box);
  }
  const box = el('div', '', { className: title === 'Not sent yet' ? 'fault' : 'mark' });
  box.setAttribute('role', 'status');
  box.append(el('h2', title), ...lines.map(line => el('p', line)));
  result.append(box);
  result.focus();
  window.scrollTo(0, 0);
}

// From the page itself, because without a connection nobody else can say it.
const tickedHere = () => [
  ...[...form.querySelectorAll('[name=flag]:checked')].map(box => ({
    title: box.parentElement.querySelector('label').textContent,
    text: box.parentElement.querySelector('.do').textContent,
    emergency: box.parentElement.classList.contains('emergency'),
  })),
  ...[...form.querySelectorAll('.exercise:has([value=done]:checked):has(.over:checked)')].slice(0, 1).map(exercise => ({
    title: document.querySelector('label[for=flag-pain-above-limit]').textContent,
    text: exercise.querySelector('.over-limit').textContent,
    emergency: false,
  })),
];

function showWaiting() {
  if (!waiting) return;
  const reports = shelf.all();
  waiting.hidden = reports.length === 0;
  waiting.replaceChildren();
  if (waiting.hidden) return;
  waiting.append(el('h2', reports.length === 1 ? '1 report waits on this phone' : `${reports.length} reports wait on this phone`));
  const list = el('ul');
  for (const report of reports) {
    const item = el('li', new Date(report.at).toLocaleString('en-GB', { dateStyle: 'medium', timeStyle: 'short' }));
    for (const line of report.words) item.append(el('br'), line);
    for (const fault of report.faults ?? []) item.append(el('p', fault));
    if (report.faults) {
      if (form && report.path === location.pathname) item.append(el('button', 'Put right', { type: 'button', onclick: () => putBack(report) }), ' ');
      item.append(el('button', 'Delete from this phone', { type: 'button', onclick: () => { if (confirm('Delete this report? It was not sent.')) { shelf.drop(report); showWaiting(); } } }));
    }
    list.append(item);
  }
  waiting.append(list);
  if (reports.some(r => !r.faults)) {
    waiting.append(el('p', 'It is sent by itself once there is a connection. Keep this page, or open it again later.'));
    waiting.append(el('button', 'Try to send now', { type: 'button', onclick: flush }));
  }
}

function putBack(report) {
  form.reset();
  for (const [name, value] of new URLSearchParams(report.body)) {
    const controls = form.querySelectorAll(`[name="${CSS.escape(name)}"]`);
    for (const control of controls) {
      if (control.type === 'radio' || control.type === 'checkbox') control.checked = control.value === value || (control.type === 'checkbox' && control.checked);
      else if (control.type !== 'hidden') control.value = value;
    }
  }
  // "Just now" was then, not now.
  if (chosen('when') === 'now') {
    const at = new Date(report.at);
    const local = new Date(at - at.getTimezoneOffset() * 60_000).toISOString();
    form.querySelector('#earlier').checked = true;
    [field('day').value, field('time').value] = [local.slice(0, 10), local.slice(11, 16)];
  }
  shelf.drop(report);
  showWaiting();
  say('Not sent yet', report.faults);
}

function keepRefused(report, outcome) {
  const faults = outcome.state === 'gone' ? ['The link it was made with does not work any more. Read it to your therapist, and ask for a new link.'] : outcome.faults;
  const body = new URLSearchParams(report.body);
  shelf.drop(report);
  // What was taken in of it keeps the identifier.
  if (outcome.sent) body.delete('flag');
  shelf.put({ ...report, id: outcome.sent ? crypto.randomUUID() : report.id, body: body.toString(), faults });
}

const one = work => navigator.locks ? navigator.locks.request('home-send', work) : work();

const flush = () => one(async () => {
  for (const report of shelf.all().filter(r => !r.faults)) {
    const outcome = await send(report);
    if (outcome.state === 'waiting') break;
    if (outcome.state !== 'sent') keepRefused(report, outcome);
    else {
      shelf.drop(report);
      if (result) say('It was sent', [`Your report of ${new Date(report.at).toLocaleString('en-GB', { dateStyle: 'medium', timeStyle: 'short' })} was sent.`], outcome.urgent);
    }
  }
  showWaiting();
});

async function submit(event) {
  event.preventDefault();
  const faults = faultsOf();
  if (faults.length) return say('Not sent yet', faults, tickedHere());
  const button = form.querySelector('button.main');
  const data = new FormData(form);
  const report = { id: crypto.randomUUID(), path: location.pathname, at: new Date().toISOString() };
  data.set('entry', report.id);
  data.set('at', report.at);
  report.body = new URLSearchParams(data).toString();
  report.words = wordsOf(report.body);
  try { shelf.put(report); } catch { return form.submit(); }
  const ticked = tickedHere();
  if (ticked.length) say('Sending', ['Do not wait for this page.'], ticked);
  [button.disabled, button.textContent] = [true, 'Sending…'];
  const outcome = await one(() => send(report));
  [button.disabled, button.textContent] = [false, 'Send'];
  if (outcome.state === 'refused') {
    shelf.drop(report);
    if (outcome.sent) for (const box of form.querySelectorAll('[name=flag]:checked')) box.checked = false;
    say('Not sent yet', outcome.faults, outcome.urgent);
  } else {
    form.reset();
    form.querySelector('.warnings').open = false;
    if (outcome.state === 'gone') keepRefused(report, outcome);
    if (outcome.state === 'sent') {
      shelf.drop(report);
      say('It was sent', ['Your therapy team has it. Nobody reads it at once: what cannot wait, tell them by telephone.'], merge(outcome.urgent, ticked));
    } else if (outcome.state === 'gone') say('Not sent', ['This link does not work any more. What you filled in is kept on this phone, see below.'], ticked);
    else say('Kept on this phone', ['There is no connection now. It is sent by itself later; nothing is lost.'], ticked);
  }
  showWaiting();
}

// What was ticked is told whether or not the service calls it urgent.
const merge = (urgent, ticked) => [...urgent, ...ticked.filter(t => !urgent.some(u => u.title === t.title))];

function steppers() {
  for (const step of form.querySelectorAll('.step')) {
    const input = step.querySelector('input');
    const add = by => { input.value = Math.max(0, (parseInt(input.value, 10) || 0) + by); };
    const button = (text, by, label) => el('button', text, { type: 'button', onclick: () => add(by), ariaLabel: label });
    const big = Number(step.dataset.big);
    input.before(button('−', -1, 'One less'));
    input.after(button('+', 1, 'One more'), button(`+${big}`, big, `${big} more`));
  }
}

async function keepPage() {
  if (!('serviceWorker' in navigator)) return;
  await navigator.serviceWorker.register('/home-worker.js', { scope: '/home/' });
  if (form && 'caches' in window) {
    const cache = await caches.open('home-1');
    await cache.addAll([location.pathname, ...[...document.querySelectorAll('link[rel=stylesheet], script[src]')].map(e => e.href || e.src)]);
    document.documentElement.dataset.kept = 'yes';
  }
}

if (shelf.works()) {
  if (form) {
    form.addEventListener('submit', submit);
    steppers();
  }
  showWaiting();
  flush();
  addEventListener('online', flush);
  addEventListener('focus', flush);
  setInterval(() => { if (shelf.all().some(r => !r.faults)) flush(); }, RETRY);
  keepPage().catch(() => {});
} else if (form) steppers();
