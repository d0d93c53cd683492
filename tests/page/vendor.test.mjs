// What others wrote and the page has is what they published.

import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';
import { VENDORED, made } from './vendor.mjs';

test('noble-hashes.js is the npm package of the locked version', () => {
  assert.equal(readFileSync(VENDORED, 'utf8'), made(), 'node tests/page/vendor.mjs makes it again');
});
