// Thins pulses to columns of paper in which no extreme is lost, by the rules
// of report/trace.
import { LIFTED, atOrAfter } from './unpack.js';

export class Columns {
  constructor(count) {
    this.count = count;
    this.first = new Float64Array(count);
    this.last = new Float64Array(count);
    this.low = new Float64Array(count);
    this.high = new Float64Array(count);
    this.pulses = new Uint32Array(count);
    this.lifted = new Uint8Array(count);
    this.gap = new Uint8Array(count);
  }
}

// thin draws values[i] of all that begin in from..to into columns.
export function thin(train, values, from, to, count, out = new Columns(count)) {
  out.pulses.fill(0);
  out.gap.fill(0);
  const { at, mark, length } = train;
  const scale = count / (to - from);
  for (let i = atOrAfter(at, from); i < length && at[i] <= to; i++) {
    const column = Math.min(Math.trunc((at[i] - from) * scale), count - 1);
    const value = values[i];
    const lifted = mark[i] & LIFTED;
    if (out.pulses[column]++ === 0) {
      out.first[column] = out.low[column] = out.high[column] = value;
      out.lifted[column] = lifted;
    }
    out.last[column] = value;
    if (value < out.low[column]) out.low[column] = value;
    if (value > out.high[column]) out.high[column] = value;
    if (i > 0) out.gap[column] |= lifted;
  }
  return out;
}
