// The passcode is proven and never sent; what answers has to prove itself too.

import assert from 'node:assert/strict';
import { mkdtempSync, rmSync } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { after, before, test } from 'node:test';
import { faults, figure, launch, live, perform, text, until, visit } from './stand.mjs';

const PASSCODE = 'under the ice';

let browser;
let show;
before(async () => {
  // The machine's name is a plain address: no browser takes it for its own machine.
  browser = await launch(`--host-resolver-rules=MAP ${os.hostname()} 127.0.0.1`);
  show = await perform('--passcode', PASSCODE);
});
after(async () => {
  await browser?.close();
  await show?.end();
  assert.deepEqual(faults, []);
});

const enter = async (page, passcode = PASSCODE) => {
  await page.waitForSelector('#door[open]');
  await page.fill('#passcode', passcode);
  await page.click('#enter');
};

/** Everything that leaves a page: messages of its sockets, and its requests. */
const overhear = (page, heard) => {
  page.on('websocket', (socket) => socket.on('framesent', ({ payload }) => heard.messages.push(String(payload))));
  page.on('request', (request) => heard.requests.push(`${request.method()} ${request.url()} ${JSON.stringify(request.headers())} ${request.postData() ?? ''}`));
};

const greetingOf = (messages) => messages.find((message) => JSON.parse(message).response);

test('SCRAM-SHA-256 and PBKDF2-HMAC-SHA-256 as published, where browsers have no crypto.subtle', async () => {
  const page = await visit(browser, show.url.replace('127.0.0.1', os.hostname()), { wait: false });
  assert.deepEqual(await page.evaluate(() => [isSecureContext, crypto.subtle === undefined]), [false, true]);
  // The worked example of RFC 7677, section 3.
  const example = await page.evaluate(async () => {
    const { derive, fits, respond } = await import('/scram.js');
    const challenge = { nonce: '%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0', salt: 'W22ZaJ0SNY7soEsUEjb6gQ==', rounds: 4096 };
    const key = derive('pencil', challenge);
    return { ...respond(key, challenge, 'user', 'rOprNGfwEbeRWgbNEkqO'), fits: [fits(key, challenge), fits(key, { ...challenge, rounds: 4097 }), fits(key, { ...challenge, salt: 'W22ZaJ0SNY7soEsUEjb6gA==' })] };
  });
  assert.deepEqual(example, {
    response: { nonce: 'rOprNGfwEbeRWgbNEkqO', proof: 'dHzbZapWIk4jUhN+Ute9ytag9zjfMHgsqmmiz7AndVQ=' },
    signature: '6rriTRBi23WpRR/wtup+mMhUZUn/dB5nLTJRsjl95G4=',
    fits: [true, false, false],
  });
  // RFC 7914, section 11.
  const derived = (password, salt, rounds) => page.evaluate(async ([password, salt, rounds]) => {
    const { pbkdf2, sha256 } = await import('/vendor/noble-hashes.js');
    const bytes = pbkdf2(sha256, new TextEncoder().encode(password), new TextEncoder().encode(salt), { c: rounds, dkLen: 64 });
    return [...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('');
  }, [password, salt, rounds]);
  assert.equal(await derived('passwd', 'salt', 1), '55ac046e56e3089fec1691c22544b605f94185216dde0465e68b9d57c20dacbc49ca9cccf179b645991664b39d77ef317c71b845b1e30bd509112041d3a19783');
  assert.equal(await derived('Password', 'NaCl', 80000), '4ddcd8f60b98be21830cee5ef22701f9641a4418d04c0414aeff08876b34ab56a1d425a1225833549adb841b51c9b3176a272bdebba1d078478f62b397f33c8d');
  // And in practice, at this address.
  await enter(page);
  await live(page);
  assert.equal(await page.getAttribute('body', 'data-can'), 'control');
  await page.context().close();
});

test('how long a slow tablet derives', async () => {
  const page = await visit(browser, show.url, { wait: false });
  await page.waitForSelector('#door[open]');
  const devtools = await page.context().newCDPSession(page);
  for (const rate of [1, 6]) {
    await devtools.send('Emulation.setCPUThrottlingRate', { rate });
    const took = await page.evaluate(async () => {
      const { derive } = await import('/scram.js');
      const took = [];
      const keys = new Set();
      for (let round = 0; round < 5; round += 1) {
        const began = performance.now();
        keys.add(derive('under the ice', { salt: 'W22ZaJ0SNY7soEsUEjb6gQ==', rounds: 20000 }).client);
        took.push(performance.now() - began);
      }
      return { took, keys: keys.size };
    });
    assert.equal(took.keys, 1);
    figure(`a passcode is derived in ${took.took.map(Math.round).join(', ')} ms, processor ${rate} times slower`);
  }
  await page.context().close();
});

test('nothing that leaves the page or stays in the browser holds the passcode', async () => {
  const heard = { messages: [], requests: [] };
  const page = await visit(browser, show.url, { wait: false, before: (page) => overhear(page, heard) });
  await enter(page);
  await live(page);
  await page.click('#next-section-go');
  await show.stands('the section', ({ song }) => song.section.step === 2);
  await page.click('#previous-section');
  await page.reload();
  await live(page);
  await until('signs of life', () => heard.messages.filter((message) => 'here' in JSON.parse(message)).length > 4);
  const greetings = heard.messages.map((message) => JSON.parse(message)).filter(({ hello }) => hello);
  assert.ok(greetings.filter(({ response }) => response).length >= 2, JSON.stringify(greetings));
  assert.equal(new Set(greetings.map(({ response }) => response?.nonce)).size, greetings.length, 'another nonce each time');
  const kept = await page.evaluate(() => JSON.stringify([{ ...sessionStorage }, { ...localStorage }, document.cookie, location.href]));
  assert.match(kept, /client/);
  const bytes = Buffer.from(PASSCODE);
  const forms = [PASSCODE, encodeURIComponent(PASSCODE), PASSCODE.replaceAll(' ', '+'), bytes.toString('base64').replace(/=+$/, ''), bytes.toString('hex')];
  for (const where of [...heard.messages, ...heard.requests, kept]) {
    for (const form of forms) assert.ok(!where.toLowerCase().includes(form.toLowerCase()), where);
  }
  await page.context().close();
});

test('when the program comes back, the page does too, and asks nobody', async () => {
  const folder = mkdtempSync(path.join(os.tmpdir(), 'handspan-'));
  const options = ['--passcode', PASSCODE, '--devices', path.join(folder, 'known.json')];
  let own = await perform(...options);
  const page = await visit(browser, own.url, { wait: false });
  await enter(page);
  await live(page);
  for (let round = 0; round < 2; round += 1) {
    await own.end();
    await page.waitForSelector('body[data-link=old]');
    own = await perform('--listen', `127.0.0.1:${own.port}`, ...options);
    await live(page);
    assert.ok(await page.isHidden('#door'));
    assert.equal(await page.getAttribute('body', 'data-can'), 'control');
  }
  // Another salt: the key of this tab says nothing any longer, so it is asked for the passcode.
  rmSync(folder, { recursive: true });
  await own.end();
  await page.waitForSelector('body[data-link=old]');
  own = await perform('--listen', `127.0.0.1:${own.port}`, ...options);
  await page.waitForSelector('#door[open]');
  assert.doesNotMatch(await text(page, '#door-words'), /not the passcode/, 'no wrong one was tried');
  await enter(page);
  await live(page);
  await page.context().close();
  await own.end();
  rmSync(folder, { recursive: true });
});

/** A page between which and the program somebody changes what the program says. */
const between = (change, heard) => visit(browser, show.url, {
  wait: false,
  before: (page) => page.routeWebSocket('**/live', (near) => {
    const far = near.connectToServer();
    near.onMessage((message) => {
      heard.push(JSON.parse(message));
      far.send(message);
    });
    far.onMessage((message) => near.send(JSON.stringify(change(JSON.parse(message)))));
  }),
});

test('what does not know the passcode itself is shown to nobody', async () => {
  for (const signature of [null, '6rriTRBi23WpRR/wtup+mMhUZUn/dB5nLTJRsjl95G4=']) {
    const page = await between((frame) => (frame.kind === 'welcome' ? { ...frame, signature } : frame), []);
    await enter(page);
    await until('it is said', async () => /does not know the passcode/.test(await text(page, '#old')));
    assert.equal(await page.getAttribute('body', 'data-link'), 'old');
    assert.equal(await text(page, '#title'), 'handspan', 'nothing of what it says is shown');
    assert.equal(await page.evaluate(() => sessionStorage.getItem('passcode-key')), null);
    await page.context().close();
  }
});

test('a challenge that would make guessing cheap, or that is none, is not answered', async () => {
  for (const changed of [{ rounds: 4095 }, { rounds: 1e7 }, { rounds: '20000' }, { nonce: 'short' }, { nonce: `${'n'.repeat(22)},s=` }, { salt: null }]) {
    const heard = [];
    const page = await between((frame) => (frame.kind === 'challenge' ? { ...frame, ...changed } : frame), heard);
    await until('it is said', async () => /does not know the passcode/.test(await text(page, '#old')));
    assert.deepEqual(heard, [], JSON.stringify(changed));
    await page.context().close();
  }
});

test('a greeting that was overheard opens nothing on another connection', async () => {
  const heard = { messages: [], requests: [] };
  const page = await visit(browser, show.url, { wait: false, before: (page) => overhear(page, heard) });
  await enter(page);
  await live(page);
  const answer = await page.evaluate((greeting) => new Promise((resolve) => {
    const socket = new WebSocket(`ws://${location.host}/live`);
    socket.onmessage = ({ data }) => {
      const frame = JSON.parse(data);
      if (frame.kind === 'challenge') socket.send(greeting);
      else resolve(frame);
    };
    socket.onclose = () => resolve(null);
  }), greetingOf(heard.messages));
  assert.equal(answer.kind, 'refused');
  assert.match(answer.words, /not the passcode/);
  await page.context().close();
});
