// Makes src/page/files/vendor/noble-hashes.js of the npm package of the locked version: only what the page uses, with its names but
// without comments and blanks, the licence on top. `node tests/page/vendor.mjs` writes it, vendor.test.mjs compares.

import { readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';

const ROOT = path.resolve(import.meta.dirname, '../..');
const TOOLS = path.join(ROOT, 'target/page');
const PACKAGE = path.join(TOOLS, 'node_modules/@noble/hashes');
export const VENDORED = path.join(ROOT, 'src/page/files/vendor/noble-hashes.js');

const USED = `
export { hmac } from '@noble/hashes/hmac.js';
export { pbkdf2 } from '@noble/hashes/pbkdf2.js';
export { sha256 } from '@noble/hashes/sha2.js';
`;

export function made() {
  const { buildSync } = createRequire(path.join(TOOLS, 'package.json'))('esbuild');
  const { version } = JSON.parse(readFileSync(path.join(PACKAGE, 'package.json'), 'utf8'));
  const licence = readFileSync(path.join(PACKAGE, 'LICENSE'), 'utf8').trim();
  const { outputFiles } = buildSync({
    stdin: { contents: USED, resolveDir: TOOLS },
    absWorkingDir: TOOLS,
    bundle: true,
    format: 'esm',
    target: 'es2022',
    write: false,
    minifyWhitespace: true, // names stay, so that it can be read beside the package
    legalComments: 'none',
    banner: { js: `/*\n@noble/hashes ${version}: SHA-256, HMAC and PBKDF2; made by tests/page/vendor.mjs, not to be changed by hand.\n\n${licence}\n*/` },
  });
  return outputFiles[0].text;
}

if (process.argv[1] === import.meta.filename) writeFileSync(VENDORED, made());
