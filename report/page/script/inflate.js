// Inflates raw deflate (RFC 1951): by the browser itself, or by the plain
// reader below where the browser has none.

export async function inflate(bytes) {
  if (typeof DecompressionStream === 'undefined') return inflatePlainly(bytes);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('deflate-raw'));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

const lengthBase = [3, 4, 5, 6, 7, 8, 9, 10, 11, 13, 15, 17, 19, 23, 27, 31, 35, 43, 51, 59, 67, 83, 99, 115, 131, 163, 195, 227, 258];
const lengthBits = [0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5, 5, 0];
const orderOfLengths = [16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15];

// tree turns code lengths into counts for each length and symbols in order of
// code (RFC 1951, 3.2.2).
function tree(lengths) {
  const counts = new Uint16Array(16);
  for (const length of lengths) counts[length]++;
  counts[0] = 0;
  const next = new Uint16Array(16);
  for (let i = 1; i < 16; i++) next[i] = next[i - 1] + counts[i - 1];
  const symbols = new Uint16Array(lengths.length);
  lengths.forEach((length, symbol) => { if (length) symbols[next[length]++] = symbol; });
  return { counts, symbols };
}

function fixedTrees() {
  const lengths = Array.from({ length: 288 }, (_, i) => (i < 144 ? 8 : i < 256 ? 9 : i < 280 ? 7 : 8));
  return [tree(lengths), tree(new Array(30).fill(5))];
}

class Bits {
  constructor(bytes) {
    this.bytes = bytes;
    this.at = 0;
    this.held = 0;
    this.count = 0;
  }

  take(n) {
    while (this.count < n) {
      if (this.at >= this.bytes.length) throw new Error('the packed pulses end too early');
      this.held |= this.bytes[this.at++] << this.count;
      this.count += 8;
    }
    const value = this.held & ((1 << n) - 1);
    this.held >>>= n;
    this.count -= n;
    return value;
  }

  symbol({ counts, symbols }) {
    let code = 0;
    let first = 0;
    let index = 0;
    for (let length = 1; length < 16; length++) {
      code |= this.take(1);
      if (code - counts[length] < first) return symbols[index + (code - first)];
      index += counts[length];
      first = (first + counts[length]) << 1;
      code <<= 1;
    }
    throw new Error('the packed pulses hold no such code');
  }

  // trees reads the two trees of a block that brings its own (3.2.7).
  trees() {
    const literals = this.take(5) + 257;
    const distances = this.take(5) + 1;
    const own = new Array(19).fill(0);
    for (let i = 0, n = this.take(4) + 4; i < n; i++) own[orderOfLengths[i]] = this.take(3);
    const meta = tree(own);
    const lengths = [];
    while (lengths.length < literals + distances) {
      const symbol = this.symbol(meta);
      if (symbol < 16) lengths.push(symbol);
      else if (symbol === 16) for (let n = 3 + this.take(2), last = lengths.at(-1); n > 0; n--) lengths.push(last);
      else for (let n = symbol === 17 ? 3 + this.take(3) : 11 + this.take(7); n > 0; n--) lengths.push(0);
    }
    return [tree(lengths.slice(0, literals)), tree(lengths.slice(literals))];
  }
}

class Output {
  constructor(size) {
    this.bytes = new Uint8Array(size);
    this.length = 0;
  }

  put(byte) {
    if (this.length === this.bytes.length) {
      const larger = new Uint8Array(this.length * 2);
      larger.set(this.bytes);
      this.bytes = larger;
    }
    this.bytes[this.length++] = byte;
  }
}

export function inflatePlainly(bytes) {
  const bits = new Bits(bytes);
  const out = new Output(bytes.length * 4 + 64);
  for (let last = 0; !last;) {
    last = bits.take(1);
    const kind = bits.take(2);
    if (kind === 0) stored(bits, out);
    else coded(bits, out, kind === 1 ? fixedTrees() : bits.trees());
  }
  return out.bytes.subarray(0, out.length);
}

function stored(bits, out) {
  bits.held = 0;
  bits.count = 0;
  const length = bits.take(8) | (bits.take(8) << 8);
  bits.at += 2;
  for (let i = 0; i < length; i++) out.put(bits.take(8));
}

function coded(bits, out, [literals, distances]) {
  for (;;) {
    const symbol = bits.symbol(literals);
    if (symbol === 256) return;
    if (symbol < 256) {
      out.put(symbol);
      continue;
    }
    const length = lengthBase[symbol - 257] + bits.take(lengthBits[symbol - 257]);
    const code = bits.symbol(distances);
    const more = Math.max((code >> 1) - 1, 0);
    const distance = (code < 2 ? code : (2 + (code & 1)) << more) + bits.take(more) + 1;
    for (let i = 0; i < length; i++) out.put(out.bytes[out.length - distance]);
  }
}
