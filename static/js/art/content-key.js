/**
 * The SHA-256 of a file's bytes (FIPS 180-4), as the server names files by. Guests come by plain http, where browsers
 * offer no such thing themselves.
 */

const PIECE = 4 * 1024 * 1024;

/** The first 32 bits of the fractions of the cube roots of the first 64 primes, of the square roots of the first 8. */
const PRIMES = Array.from({ length: 312 }, (_, number) => number)
  .filter((number) => number > 1 && !Array.from({ length: number }, (_, one) => one).some((one) => one > 1 && one * one <= number && number % one === 0));
const fraction = (/** @type {number} */ value) => Math.floor((value - Math.floor(value)) * 2 ** 32);
const K = Uint32Array.from(PRIMES.slice(0, 64), (prime) => fraction(Math.cbrt(prime)));
const START = PRIMES.slice(0, 8).map((prime) => fraction(Math.sqrt(prime)));

/** @param {Uint32Array} hash @param {DataView} block @param {number} at @param {Uint32Array} w */
function step(hash, block, at, w) {
  for (let t = 0; t < 16; t += 1) w[t] = block.getUint32(at + 4 * t);
  for (let t = 16; t < 64; t += 1) {
    const [x, y] = [w[t - 15], w[t - 2]];
    w[t] = w[t - 16] + w[t - 7] + ((x >>> 7 | x << 25) ^ (x >>> 18 | x << 14) ^ x >>> 3)
      + ((y >>> 17 | y << 15) ^ (y >>> 19 | y << 13) ^ y >>> 10);
  }
  let [a, b, c, d, e, f, g, h] = hash;
  for (let t = 0; t < 64; t += 1) {
    const one = h + ((e >>> 6 | e << 26) ^ (e >>> 11 | e << 21) ^ (e >>> 25 | e << 7)) + (e & f ^ ~e & g) + K[t] + w[t] | 0;
    const two = ((a >>> 2 | a << 30) ^ (a >>> 13 | a << 19) ^ (a >>> 22 | a << 10)) + (a & b ^ a & c ^ b & c) | 0;
    h = g; g = f; f = e; e = d + one | 0; d = c; c = b; b = a; a = one + two | 0;
  }
  [a, b, c, d, e, f, g, h].forEach((value, place) => { hash[place] += value; });
}

/** @param {Blob} file @returns {Promise<string>} in hex */
export async function contentKey(file) {
  const hash = Uint32Array.from(START);
  const w = new Uint32Array(64);
  for (let from = 0; from <= file.size; from += PIECE) {
    let bytes = new Uint8Array(await file.slice(from, from + PIECE).arrayBuffer());
    if (from + PIECE > file.size) {
      const whole = new Uint8Array((bytes.length + 9 + 63) & ~63);
      whole.set(bytes);
      whole[bytes.length] = 0x80;
      const end = new DataView(whole.buffer);
      end.setUint32(whole.length - 8, Math.floor(file.size / 2 ** 29));
      end.setUint32(whole.length - 4, file.size * 8 >>> 0);
      bytes = whole;
    }
    const block = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
    for (let at = 0; at < bytes.length; at += 64) step(hash, block, at, w);
  }
  return [...hash].map((value) => value.toString(16).padStart(8, "0")).join("");
}
