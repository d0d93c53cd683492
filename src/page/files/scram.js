// SCRAM-SHA-256 (RFC 5802, RFC 7677): proves to the program that a passcode is known here, and that the program knows it,
// without sending it. At a plain address browsers have no crypto.subtle, so the hashes are calculated here.

import { hmac, pbkdf2, sha256 } from './vendor/noble-hashes.js';

const BASE64 = /^[A-Za-z0-9+/]{22,64}={0,2}$/; // no comma: it would end a part of what is signed
const FEWEST_ROUNDS = 4096; // the least of RFC 7677; a program that wants fewer wants to guess
const MOST_ROUNDS = 1e6;
const NONCE_BYTES = 24;
const USER = 'stand';

const bytesOf = (base64) => Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
const base64Of = (bytes) => btoa(String.fromCharCode(...bytes));
const keyed = (key, text) => hmac(sha256, key, new TextEncoder().encode(text));

/** Whether a challenge is one to answer. */
export const isSound = ({ nonce, salt, rounds }) =>
  [nonce, salt].every((text) => typeof text === 'string' && BASE64.test(text)) && Number.isInteger(rounds) && rounds >= FEWEST_ROUNDS && rounds <= MOST_ROUNDS;

/** The key that a passcode makes with the salt of a challenge; this takes a while. Nobody reads the passcode out of it. */
export function derive(passcode, { salt, rounds }) {
  const salted = pbkdf2(sha256, new TextEncoder().encode(passcode), bytesOf(salt), { c: rounds, dkLen: 32 });
  return { salt, rounds, client: base64Of(keyed(salted, 'Client Key')), server: base64Of(keyed(salted, 'Server Key')) };
}

/** Whether a key is for this challenge. */
export const fits = (key, { salt, rounds }) => key.salt === salt && key.rounds === rounds;

/** AuthMessage. */
const signedBy = (user, own, { nonce, salt, rounds }) => `n=${user},r=${own},r=${own}${nonce},s=${salt},i=${rounds},c=biws,r=${own}${nonce}`;

/** What answers a challenge, and the signature by which the program has to prove itself then. */
export function respond(key, challenge, user = USER, own = base64Of(crypto.getRandomValues(new Uint8Array(NONCE_BYTES)))) {
  const signed = signedBy(user, own, challenge);
  const client = bytesOf(key.client);
  const mask = keyed(sha256(client), signed);
  const proof = base64Of(client.map((byte, place) => byte ^ mask[place]));
  return { response: { nonce: own, proof }, signature: base64Of(keyed(bytesOf(key.server), signed)) };
}
