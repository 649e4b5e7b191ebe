// Is a document Bundle whole? Walks it from the Composition by the rules of the R4 page "Documents".

const referencesIn = node => Array.isArray(node) ? node.flatMap(referencesIn)
  : node && typeof node === 'object' ? [...(typeof node.reference === 'string' ? [node.reference] : []), ...Object.values(node).flatMap(referencesIn)]
    : [];

/** A relative reference is read against the fullUrl of the entry that holds it (R4 Bundle, "Resolving references in Bundles"). */
function target(reference, from) {
  const plain = reference.replace(/\/_history\/[^/]+$/, '');
  if (/^[a-z]+:/.test(plain)) return plain;
  const base = /^(https?:\/\/.*\/)[A-Za-z]+\/[A-Za-z0-9.-]{1,64}$/.exec(from);
  return base ? base[1] + plain : plain;
}

/** @returns {string[]} what is wrong with it as a document */
export function documentFaults(bundle) {
  const faults = [];
  const entries = bundle.entry ?? [];
  const byUrl = new Map(entries.map(entry => [entry.fullUrl, entry]));
  if (bundle.type !== 'document') faults.push(`type is ${bundle.type}`);
  if (entries[0]?.resource.resourceType !== 'Composition') faults.push('the first entry is not a Composition');
  if (byUrl.size !== entries.length) faults.push('a fullUrl is missing or used twice');
  const reached = new Set();
  const walk = entry => {
    if (reached.has(entry.fullUrl)) return;
    reached.add(entry.fullUrl);
    for (const reference of referencesIn(entry.resource).filter(text => !text.startsWith('#'))) {
      const next = byUrl.get(target(reference, entry.fullUrl));
      const pinned = /\/_history\/([^/]+)$/.exec(reference)?.[1];
      if (!next) faults.push(`${entry.resource.resourceType}/${entry.resource.id} refers to ${reference}, which is not in the document`);
      else if (pinned && next.resource.meta?.versionId !== pinned) faults.push(`${reference} is in the document as version ${next.resource.meta?.versionId}`);
      if (next) walk(next);
    }
  };
  if (entries[0]) walk(entries[0]);
  for (const entry of entries) if (!reached.has(entry.fullUrl)) faults.push(`${entry.fullUrl} is not reached from the Composition`);
  const people = new Set(entries.map(entry => entry.resource).filter(resource => resource.resourceType === 'Patient').map(resource => resource.id));
  if (people.size !== 1) faults.push(`${people.size} people in one document`);
  return faults;
}
