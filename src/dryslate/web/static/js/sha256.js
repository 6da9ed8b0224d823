// SHA-256 of a file in pieces (FIPS 180-4), for pages where the browser's own cannot be used.

const K = new Uint32Array([
  0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5, 0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
  0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da, 0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
  0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85, 0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
  0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3, 0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2,
]);
const PIECE = 4 << 20;
const LARGEST_AT_ONCE = 64 << 20;

/** Work whole blocks of 64 bytes into the state. */
function blocks(state, w, bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  for (let at = 0; at + 64 <= bytes.length; at += 64) {
    for (let i = 0; i < 16; i++) w[i] = view.getUint32(at + 4 * i);
    for (let i = 16; i < 64; i++) {
      const a = w[i - 15], b = w[i - 2];
      w[i] = w[i - 16] + w[i - 7] + (((a >>> 7) | (a << 25)) ^ ((a >>> 18) | (a << 14)) ^ (a >>> 3)) + (((b >>> 17) | (b << 15)) ^ ((b >>> 19) | (b << 13)) ^ (b >>> 10));
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let i = 0; i < 64; i++) {
      const s1 = ((e >>> 6) | (e << 26)) ^ ((e >>> 11) | (e << 21)) ^ ((e >>> 25) | (e << 7));
      const t1 = (h + s1 + ((e & f) ^ (~e & g)) + K[i] + w[i]) | 0;
      const s0 = ((a >>> 2) | (a << 30)) ^ ((a >>> 13) | (a << 19)) ^ ((a >>> 22) | (a << 10));
      const t2 = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      h = g; g = f; f = e; e = (d + t1) | 0; d = c; c = b; b = a; a = (t1 + t2) | 0;
    }
    state[0] += a; state[1] += b; state[2] += c; state[3] += d; state[4] += e; state[5] += f; state[6] += g; state[7] += h;
  }
}

const hex = (words) => [...words].map((word) => word.toString(16).padStart(8, "0")).join("");

/** Reckon the hash of a file or Blob piece by piece, without holding all of it; resolves to hex. */
export async function sha256InPieces(file) {
  const state = new Uint32Array([0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19]);
  const w = new Uint32Array(64);
  let rest = new Uint8Array(0);
  for (let at = 0; at < file.size; at += PIECE) {
    const piece = new Uint8Array(await file.slice(at, at + PIECE).arrayBuffer());
    const whole = piece.length - (piece.length % 64);
    blocks(state, w, piece.subarray(0, whole));
    rest = piece.slice(whole);
  }
  const end = new Uint8Array(rest.length < 56 ? 64 : 128);
  end.set(rest);
  end[rest.length] = 0x80;
  const view = new DataView(end.buffer);
  view.setUint32(end.length - 8, Math.floor(file.size / 0x20000000));
  view.setUint32(end.length - 4, (file.size * 8) >>> 0);
  blocks(state, w, end);
  return hex(state);
}

/** Reckon the hash of a file, by the browser's own means where it has them; resolves to hex. */
export async function sha256(file) {
  if (!globalThis.crypto?.subtle || file.size > LARGEST_AT_ONCE) return sha256InPieces(file);
  const found = new Uint8Array(await crypto.subtle.digest("SHA-256", await file.arrayBuffer()));
  return [...found].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
