// Numbers as people read them: digits that the capture resolves, with a unit.

export const US = 1e6; // picoseconds in a microsecond

// places is how many decimals of a microsecond a time step supports.
export function places(stepUs) {
  if (!(stepUs > 0)) return 1;
  return Math.min(Math.max(Math.ceil(-Math.log10(stepUs) - 1e-9), 0), 3);
}

// length writes a duration in seconds with the unit that suits it.
export function length(seconds, digits = 3) {
  const size = Math.abs(seconds);
  if (size >= 1) return `${seconds.toFixed(digits)} s`;
  if (size >= 1e-3) return `${(seconds * 1e3).toFixed(digits)} ms`;
  return `${(seconds * 1e6).toFixed(digits)} us`;
}

// decimal writes n / 10^places with all its decimals, exactly; n is a BigInt.
export function decimal(n, decimals) {
  const sign = n < 0n ? '-' : '';
  const digits = String(n < 0n ? -n : n).padStart(decimals + 1, '0');
  return `${sign}${digits.slice(0, -decimals)}.${digits.slice(-decimals)}`;
}

// steps are round numbers at most `most` of which fall into from..to.
export function steps(from, to, most) {
  const rough = (to - from) / Math.max(most, 1);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((k) => k * power).find((s) => s >= rough * 0.999);
  const marks = [];
  for (let k = Math.ceil(from / step - 1e-6); k * step <= to + step * 1e-6; k++) marks.push(k * step);
  return { step, marks };
}

// visible shows what would turn text around, or cannot be seen, as an escape.
export function visible(text) {
  return text.replace(/(?! )[\p{C}\p{Z}]/gu, (letter) => `\\u${letter.codePointAt(0).toString(16).padStart(4, '0')}`);
}

// many is a count with its noun.
export function many(n, noun) {
  return `${n} ${noun}${n === 1 ? '' : 's'}`;
}
