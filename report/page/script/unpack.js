// Reads a lane's packed pulses; pack.go says how they are laid out.
import { inflate } from './inflate.js';

// Marks of a pulse.
export const LIFTED = 1;
export const NO_INTERVAL = 2;
export const EXTRA = 4;
export const BROKEN = 8;
export const START_UP = 16;

const SECOND = 1e12; // picoseconds

// unpack returns three trains: accepted pulses, rejected parts, marks that are
// too long. Times `at` count in seconds from `start`, for drawing; `second` and
// `pico` are exact and count from the capture's own zero. Widths are picoseconds.
export async function unpack(text, start) {
  const packed = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const reader = new Numbers(await inflate(packed));
  const unit = reader.natural();
  const [pulses, rejected, stuck] = [0, 1, 2].map(() => readTrain(reader, unit, start));
  return { pulses, rejected, stuck };
}

class Numbers {
  constructor(bytes) {
    this.bytes = bytes;
    this.at = 0;
  }

  // natural reads seven bits a byte, the lowest first.
  natural() {
    let value = 0;
    for (let scale = 1; ; scale *= 128) {
      const byte = this.bytes[this.at++];
      value += (byte & 127) * scale;
      if (byte < 128) return value;
    }
  }

  // whole reads 0, -1, 1, -2, 2, ... as written 0, 1, 2, 3, 4, ...
  whole() {
    const n = this.natural();
    return n % 2 ? -(n + 1) / 2 : n / 2;
  }
}

function readTrain(reader, unit, start) {
  const length = reader.natural();
  const leaps = new Float64Array(length);
  for (let i = 0; i < length; i++) leaps[i] = reader.whole();
  const pico = new Float64Array(length);
  for (let i = 0; i < length; i++) pico[i] = reader.whole() * unit;
  const width = new Float64Array(length);
  for (let i = 0, last = 0; i < length; i++) width[i] = last += reader.whole() * unit;
  const mark = reader.bytes.slice(reader.at, reader.at += length);
  const second = new Float64Array(length);
  const at = new Float64Array(length);
  const whole = Math.floor(start);
  const rest = start - whole;
  let s = 0;
  let p = 0;
  let interval = 0;
  for (let i = 0; i < length; i++) {
    const step = interval + pico[i];
    interval = leaps[i] * SECOND + step;
    if (interval < 0 || interval >= SECOND) interval = 0;
    s += leaps[i];
    p += step;
    for (; p >= SECOND; p -= SECOND) s++;
    for (; p < 0; p += SECOND) s--;
    second[i] = s;
    pico[i] = p;
    at[i] = s - whole + p / SECOND - rest;
  }
  return { length, second, pico, at, width, mark };
}

// instant is when a pulse begins, in picoseconds, exactly.
export function instant(train, i) {
  return BigInt(train.second[i]) * BigInt(SECOND) + BigInt(train.pico[i]);
}

// interval is the time since the pulse before in picoseconds, null where there is none.
export function intervalBefore(train, i) {
  return train.mark[i] & NO_INTERVAL ? null : instant(train, i) - instant(train, i - 1);
}

// atOrAfter is the index of the first that begins at t or later.
export function atOrAfter(at, t) {
  let low = 0;
  let high = at.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (at[middle] < t) low = middle + 1;
    else high = middle;
  }
  return low;
}
