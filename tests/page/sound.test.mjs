// The synthesizer of the page: it sounds, stays below its ceiling, and is silent when it has to be.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { faults, figure, launch, perform, reads, until, visit } from './stand.mjs';

let browser;
let show;
let page;
before(async () => {
  browser = await launch();
  show = await perform();
  page = await visit(browser, show.url, { before: measured });
});
after(async () => {
  await browser?.close();
  await show?.end();
  assert.deepEqual(faults, []);
});

/** What goes to the loudspeaker is also measured. */
const measured = (one) => one.addInitScript(() => {
  const connect = AudioNode.prototype.connect;
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to === this.context.destination && this.context instanceof AudioContext) {
      const meter = this.context.createAnalyser();
      meter.fftSize = 32768;
      connect.call(this, meter);
      const samples = new Float32Array(meter.fftSize);
      window.loudness = () => (meter.getFloatTimeDomainData(samples), samples.reduce((most, one) => Math.max(most, Math.abs(one)), 0));
    }
    return connect.call(this, to, ...rest);
  };
});

/** Renders offline: messages at their times, and the peak of each tenth of a second. */
const render = (seconds, decibels, steps) => page.evaluate(async ([length, level, all]) => {
  const { build } = await import('/sound.js');
  const context = new OfflineAudioContext(1, length * 44100, 44100);
  const synth = build(context, level);
  for (const [time, messages] of all) {
    const act = () => (messages === 'silence' ? synth.silence() : messages.level === undefined ? synth.play(messages) : synth.level(messages.level));
    if (time === 0) act();
    else context.suspend(time).then(() => (act(), context.resume()));
  }
  const samples = (await context.startRendering()).getChannelData(0);
  const peaks = [];
  for (let at = 0; at < samples.length; at += 4410) peaks.push(samples.subarray(at, at + 4410).reduce((most, one) => Math.max(most, Math.abs(one)), 0));
  let jump = 0;
  for (let at = 1; at < samples.length; at += 1) jump = Math.max(jump, Math.abs(samples[at] - samples[at - 1]));
  return { peaks, jump };
}, [seconds, decibels, steps]);

const on = (key, velocity = 100, channel = 0) => [0, [0x90 | channel, key, velocity]];
const off = (key, channel = 0) => [0, [0x80 | channel, key, 64]];

test('a note sounds, dies away when it ends, and louder is louder', async () => {
  const soft = await render(1.5, -24, [[0, [on(60, 30)]], [0.5, [off(60)]]]);
  const loud = await render(1.5, -24, [[0, [on(60, 120)]], [0.5, [off(60)]]]);
  assert.ok(Math.max(...loud.peaks) > 0.005);
  assert.ok(Math.max(...loud.peaks) > 1.5 * Math.max(...soft.peaks));
  assert.ok(loud.peaks[12] < 0.0005, `after its end ${loud.peaks[12]}`);
});

test('a pad swells and lasts, a struck note dies away', async () => {
  const pad = await render(4, -12, [[0, [[0, [0xc0, 89]], on(60)]]]);
  const struck = await render(4, -12, [[0, [[0, [0xc0, 0]], on(60)]]]);
  assert.ok(pad.peaks[0] < 0.7 * pad.peaks[10], 'it swells');
  assert.ok(pad.peaks[35] > 0.5 * pad.peaks[10], 'it lasts');
  assert.ok(struck.peaks[35] < 0.35 * struck.peaks[0], 'it dies away');
});

test('32 notes at full velocity and full level stay below the ceiling', async () => {
  const notes = Array.from({ length: 32 }, (_, index) => on(36 + index * 2, 127, index % 4));
  const { peaks } = await render(2, 0, [[0, [[0, [0xc1, 89]], [0, [0xb0, 7, 127]], ...notes]]]);
  figure(`32 notes at velocity 127 and full level: peak ${Math.max(...peaks).toFixed(3)} of full scale`);
  assert.ok(Math.max(...peaks) > 0.2);
  assert.ok(Math.max(...peaks) <= 0.801, `peak ${Math.max(...peaks)}`);
});

test('the controllers that end sound end it: 120, 121, 123, and the pedal holds', async () => {
  const chord = [[0, [0xc0, 89]], on(60), on(64), on(67)];
  for (const ending of [[[0, [0xb0, 120, 0]]], [[0, [0xb0, 123, 0]]], 'silence']) {
    const { peaks } = await render(4, -12, [[0, chord], [1, ending]]);
    assert.ok(peaks[9] > 0.01 && peaks[39] < 0.0005, `${JSON.stringify(ending)}: ${peaks[39]}`);
  }
  const pedal = [[0, [...chord, [0, [0xb0, 64, 127]]]], [1, [off(60), off(64), off(67)]]];
  const held = await render(4, -12, pedal);
  assert.ok(held.peaks[35] > 0.01, 'held by the pedal');
  const lifted = await render(4, -12, [...pedal, [2, [[0, [0xb0, 121, 0]]]]]);
  assert.ok(lifted.peaks[39] < 0.0005, 'reset lifts the pedal');
});

/** One program of each family, as the General MIDI list counts from 0, and a note of its middle register. */
const FAMILIES = { piano: 0, celesta: 8, bells: 14, harp: 46, bass: 32, organ: 19, strings: 48, voices: 52, winds: 73, pad: 89 };

/** How a note of a program sounds: harmonics and half harmonics early and late, and how it swells and dies away, in dB. */
const character = (program) => page.evaluate(async (number) => {
  const { build } = await import('/sound.js');
  const rate = 44100;
  const context = new OfflineAudioContext(1, 2 * rate, rate);
  build(context, -12).play([[0, [0xc0, number]], [0, [0x90, 60, 90]]]);
  const samples = (await context.startRendering()).getChannelData(0);
  const power = (hertz, from, to) => {
    let [real, imaginary] = [0, 0];
    for (let at = from; at < to; at += 1) {
      const window = 0.5 - 0.5 * Math.cos((2 * Math.PI * (at - from)) / (to - from));
      real += window * samples[at] * Math.cos((2 * Math.PI * hertz * at) / rate);
      imaginary += window * samples[at] * Math.sin((2 * Math.PI * hertz * at) / rate);
    }
    return real * real + imaginary * imaginary;
  };
  const decibels = (all) => all.map((one) => Math.max(-40, 10 * Math.log10(one / Math.max(...all) + 1e-9)));
  const spectrum = (from) => decibels(Array.from({ length: 20 }, (_, index) => power((261.63 * (index + 1)) / 2, from * rate, (from + 0.2) * rate)));
  const peak = (from) => samples.subarray(from * rate, (from + 0.02) * rate).reduce((most, one) => Math.max(most, one * one), 0);
  return [...spectrum(0.1), ...spectrum(1), ...decibels([0, 0.04, 0.1, 0.3, 0.6, 1, 1.5].map(peak))];
}, program);

test('the families differ to the ear', async () => {
  const known = new Map();
  for (const [name, program] of Object.entries(FAMILIES)) known.set(name, await character(program));
  const pairs = [...known].flatMap(([one, a], index) => [...known].slice(index + 1).map(([other, b]) => {
    const apart = a.reduce((sum, value, at) => sum + Math.abs(value - b[at]), 0) / a.length;
    return { apart, names: `${one} and ${other}` };
  }));
  const [nearest] = pairs.sort((a, b) => a.apart - b.apart);
  figure(`the most similar of the page's sounds: ${nearest.names}, ${nearest.apart.toFixed(1)} dB apart on average`);
  assert.ok(nearest.apart > 3, JSON.stringify(pairs.slice(0, 5)));
});

const dbfs = (peaks) => 20 * Math.log10(Math.max(...peaks));

test('a chord with pad at the start level peaks between -26 and -20 dBFS, and never above -1', async () => {
  const start = Number(await page.inputValue('#level'));
  const pad = [on(48, 80, 1), on(55, 80, 1)];
  const peaks = {};
  for (const [name, program] of Object.entries(FAMILIES)) {
    const chord = (velocity) => [[0, [[0, [0xc0, program]], [0, [0xc1, 89]], on(60, velocity), on(64, velocity), on(67, velocity), ...pad]]];
    peaks[name] = dbfs((await render(2.5, start, chord(80))).peaks);
    assert.ok(dbfs((await render(1, 0, chord(127))).peaks) < -1, `${name} at full level`);
  }
  const told = Object.entries(peaks).map(([name, peak]) => `${name} ${peak.toFixed(1)}`).join(', ');
  figure(`a chord with pad at the start level, peaks in dBFS: ${told}`);
  for (const [name, peak] of Object.entries(peaks)) assert.ok(peak >= -26 && peak <= -20, `${name}: ${told}`);
});

test('the bend goes two semitones up and down, also while a note sounds', async () => {
  const pitch = (steps) => page.evaluate(async (all) => {
    const { build } = await import('/sound.js');
    const context = new OfflineAudioContext(1, 44100, 44100);
    const synth = build(context, -12);
    synth.play([[0, [0xc0, 19]], ...all]);
    const samples = (await context.startRendering()).getChannelData(0);
    const power = (hertz) => {
      let [real, imaginary] = [0, 0];
      for (let at = 11025; at < 33075; at += 1) {
        real += samples[at] * Math.cos((2 * Math.PI * hertz * at) / 44100);
        imaginary += samples[at] * Math.sin((2 * Math.PI * hertz * at) / 44100);
      }
      return real * real + imaginary * imaginary;
    };
    const cents = Array.from({ length: 61 }, (_, index) => (index - 30) * 10);
    return cents.reduce((best, one) => (power(261.626 * 2 ** (one / 1200)) > power(261.626 * 2 ** (best / 1200)) ? one : best), 0);
  }, steps);
  assert.equal(await pitch([on(60)]), 0);
  assert.equal(await pitch([on(60), [0, [0xe0, 0, 0]]]), -200);
  assert.equal(await pitch([[0, [0xe0, 0, 96]], on(60)]), 100);
  assert.equal(await pitch([[0, [0xe0, 0, 96]], on(60), [0, [0xe0, 0, 64]]]), 0);
  assert.equal(await pitch([[0, [0xe0, 0, 0]], on(60), [0, [0xb0, 121, 0]]]), 0, 'reset');
});

test('volume and expression count, and the level never jumps', async () => {
  const full = await render(2, -12, [[0, [[0, [0xc0, 89]], on(60)]]]);
  const half = await render(2, -12, [[0, [[0, [0xc0, 89]], [0, [0xb0, 11, 64]], on(60)]]]);
  assert.ok(half.peaks[15] < 0.5 * full.peaks[15]);
  const moved = await render(2, -24, [[0, [[0, [0xc0, 89]], on(36)]], [1, { level: 0 }]]);
  assert.ok(moved.peaks[19] > 4 * moved.peaks[9], 'it grows');
  assert.ok(moved.jump < 0.2, `from one sample to the next ${moved.jump}`);
});

test('on the page: off until it is pressed, low at first, silent when cut off or turned off', async () => {
  assert.equal(await page.evaluate(() => typeof window.loudness), 'undefined', 'no audio before a press');
  await page.click('#play-here');
  assert.equal(await page.inputValue('#level'), '-19');
  assert.match(await page.textContent('#caution'), /Start low.*headphones and in-ear monitors/);
  await page.click('#hear');
  await reads(page, '#hear-how', 'on');
  await page.keyboard.down('KeyA');
  await until('it sounds', () => page.evaluate(() => window.loudness() > 0.002));
  assert.ok(await page.evaluate(() => window.loudness() < 0.2), 'low at first');
  await page.click('#hear');
  await reads(page, '#hear-how', 'off');
  await page.keyboard.up('KeyA');
  await page.click('#hear');
  await reads(page, '#hear-how', 'on');
  await until('silent', () => page.evaluate(() => window.loudness() < 0.0005), 6000);
  await page.keyboard.down('KeyD');
  await until('it sounds', () => page.evaluate(() => window.loudness() > 0.002));
  await show.end();
  await page.waitForSelector('body[data-link=old]');
  await until('silent', () => page.evaluate(() => window.loudness() < 0.0005), 3000);
  await page.keyboard.up('KeyD');
});

test('where the page is all there is, the first key opens the sound and is heard', async () => {
  const own = await perform();
  const one = await visit(browser, `${own.url}#play`, { before: measured });
  assert.equal(await one.isVisible('#piano'), true);
  assert.equal(await one.evaluate(() => typeof window.loudness), 'undefined', 'no audio before a press');
  const { x, y, width, height } = await one.locator('#piano [data-note="60"]').boundingBox();
  await one.mouse.move(x + width * 0.4, y + height * 0.9);
  await one.mouse.down();
  await until('the first key sounds', () => one.evaluate(() => window.loudness?.() > 0.002));
  assert.ok(await one.evaluate(() => window.loudness() < 0.2), 'low at first');
  await reads(one, '#hear-how', 'on');
  await one.mouse.up();
  // Turned off, no key turns it on again.
  await one.click('#hear');
  await reads(one, '#hear-how', 'off');
  await one.keyboard.press('KeyA');
  await reads(one, '#hear-how', 'off');
  await one.context().close();
  await own.end();
});

/** Fingers on keys of the page, as the browser itself would bring them. */
const fingers = async (one, notes) => {
  const touch = await one.context().newCDPSession(one);
  const points = await Promise.all(notes.map(async (note, id) => {
    const { x, y, width, height } = await one.locator(`#piano [data-note="${note}"]`).boundingBox();
    return { id, x: x + width * 0.4, y: y + height * 0.85 };
  }));
  await touch.send('Input.dispatchTouchEvent', { type: 'touchStart', touchPoints: points });
  return { up: () => touch.send('Input.dispatchTouchEvent', { type: 'touchEnd', touchPoints: [] }) };
};

test('on a tablet one tap starts the sound, and the first chord sounds while the fingers are down', async () => {
  const own = await perform();
  const one = await visit(browser, `${own.url}#play`, { before: measured, hasTouch: true, isMobile: true, viewport: { width: 1024, height: 768 } });
  await one.tap('#begin');
  await reads(one, '#hear-how', 'on');
  assert.ok(await one.isHidden('#begin'), 'it makes room for the keys');
  assert.ok(await one.evaluate(() => window.loudness() < 0.0005), 'no key is down');
  const hand = await fingers(one, [60, 64, 67]);
  await until('the chord sounds under the fingers', () => one.evaluate(() => window.loudness() > 0.002));
  await hand.up();
  await until('silent', () => one.evaluate(() => window.loudness() < 0.0005));
  await one.context().close();
  await own.end();
});

test('who begins to hear gets what sounds', async () => {
  const own = await perform();
  own.say('play keyboard 90 3C 50 90 40 50 90 43 50');
  const one = await visit(browser, own.url, { before: measured });
  await until('a chord is held', async () => (await one.$$('.flag')).length >= 3);
  await one.click('#play-here');
  await one.click('#hear');
  await until('it sounds though nothing moves', () => one.evaluate(() => window.loudness?.() > 0.002));
  own.say('play keyboard 80 3C 40 80 40 40 80 43 40');
  await until('silent', () => one.evaluate(() => window.loudness() < 0.0005));
  await one.context().close();
  await own.end();
});
