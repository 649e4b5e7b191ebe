// Every UCUM code, asked of the independent UCUM library.
import ucum from '@lhncbc/ucum-lhc';

const units = ucum.UcumLhcUtils.getInstance();

/** @returns {{asked: number, wrong: string[]}} */
export function unitErrors(node, path = node.resourceType, found = { asked: 0, wrong: [] }) {
  if (Array.isArray(node)) node.forEach((child, i) => unitErrors(child, `${path}[${i}]`, found));
  else if (node && typeof node === 'object') {
    if (node.system === 'http://unitsofmeasure.org' && node.code !== undefined) {
      found.asked++;
      const answer = units.validateUnitString(node.code);
      if (answer.status !== 'valid') found.wrong.push(`${path}: ${node.code} ${(answer.msg ?? []).join(' ')}`);
    }
    for (const [name, child] of Object.entries(node)) unitErrors(child, `${path}.${name}`, found);
  }
  return found;
}
