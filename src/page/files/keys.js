// Keys to play here: by touch, mouse or a computer's keyboard, as an input like any other.

import { openSound } from './sound.js';
import { pretty } from './spell.js';

const $ = (id) => document.getElementById(id);
// The middle row of a computer keyboard plays the white keys and the row above it the black ones, so that the key A is an
// A; by where the keys are, not by what is printed on them. Each with its semitones from the C in the middle.
const CODES = new Map(Object.entries({
  KeyA: -3, KeyW: -2, KeyS: -1, KeyD: 0, KeyR: 1, KeyF: 2, KeyT: 3, KeyG: 4, KeyH: 5, KeyU: 6, KeyJ: 7, KeyI: 8, KeyK: 9, KeyO: 10, KeyL: 11, Semicolon: 12,
}));
const CODE_OF = new Map([...CODES].map(([code, offset]) => [offset, code]));
// Keys and the white ones among them; a finger needs 40 pixels of width.
const SIZES = [[25, 15], [18, 11], [13, 8]];
const FINGER = 40;
const BLACK = new Set([1, 3, 6, 8, 10]);
const LOWEST = 24;
const HIGHEST = 96;

export function wireHand({ send, now, canControl, tell }) {
  const panel = $('hand');
  const piano = $('piano');
  let low = null; // the first key, chosen when they are opened
  let count = 25;
  let printed = null; // on the keys of this computer, where the browser tells
  let isCut = true;
  let names = []; // of all notes, as the program spells them
  let pedal = false;
  let inputs = []; // those with notes
  let usual = null; // the one that these keys play as, unless the player chooses another
  let chosen = null;
  const holders = new Map(); // a pointer, a computer key -> note
  const sound = openSound(tell);

  const keeps = () => $('keep').getAttribute('aria-checked') === 'true';
  const isDown = (note) => [...holders.values()].includes(note);
  const mark = (note) => piano.querySelector(`[data-note="${note}"]`)?.classList.toggle('down', isDown(note));

  function down(holder, note, velocity) {
    up(holder);
    if (note < 0 || note > 127 || isCut || !canControl()) {
      if (isCut) tell('Cut off: nothing was played.');
      return;
    }
    const again = isDown(note);
    holders.set(holder, note);
    if (again) send({ up: note });
    send({ down: note, velocity, at: now() });
    mark(note);
  }

  function up(holder) {
    const note = holders.get(holder);
    if (note === undefined) return;
    holders.delete(holder);
    if (!isDown(note)) send({ up: note });
    mark(note);
  }

  /** A key under a holder; where keys stay, it comes up with the next press of the same. */
  function strike(holder, note, velocity) {
    if (!keeps()) return down(holder, note, velocity);
    const stays = `stay ${note}`;
    if (holders.has(stays)) up(stays);
    else down(stays, note, velocity);
  }

  function allUp() {
    for (const holder of [...holders.keys()]) up(holder);
    setPedal(false);
  }

  function setPedal(value) {
    if (pedal === value) return;
    pedal = value;
    $('sustain').setAttribute('aria-pressed', value);
    send({ pedal: value, at: now() });
  }

  function playAs(name) {
    allUp();
    chosen = name;
    send({ plays_as: name ?? usual });
    showInput();
  }
  function showInput() {
    $('plays-as').hidden = inputs.length < 2;
    $('plays-as').firstElementChild.textContent = `as ${chosen ?? usual}`;
  }

  // Touched further down, a key is longer a lever, and louder.
  const velocityAt = (part) => ($('touch').value === 'height' ? Math.round(25 + 95 * Math.min(1, Math.max(0, part))) : Number($('touch').value));

  // The letters play around the middle of what is seen.
  const middle = () => 12 * Math.ceil(low / 12) + (count > 13 ? 12 : 0);
  const letter = (code) => (printed?.get(code) ?? (code === 'Semicolon' ? ';' : code.slice(-1))).toUpperCase();
  const layout = async () => {
    try {
      printed = await navigator.keyboard.getLayoutMap();
      if (isOpen()) build();
    } catch {
      // not told: the letters of the most common layout stand there
    }
  };

  function build() {
    allUp();
    count = SIZES.find(([, whites]) => piano.clientWidth / whites >= FINGER)?.[0] ?? 13;
    low ??= count === 13 ? 57 : 48; // a single octave begins where the computer's letters do
    const notes = Array.from({ length: count }, (_, index) => low + index);
    const whites = notes.filter((note) => !BLACK.has(note % 12)).length;
    let white = 0;
    piano.replaceChildren(...notes.map((note) => {
      const key = document.createElement('button');
      const black = BLACK.has(note % 12);
      key.className = black ? 'black' : 'white';
      key.dataset.note = note;
      key.tabIndex = -1;
      key.style.width = `${(black ? 0.64 : 1) * (100 / whites)}%`;
      key.style.left = `${(100 / whites) * (black ? white - 0.32 : white)}%`;
      if (!black) white += 1;
      const code = CODE_OF.get(note - middle());
      if (code) {
        key.dataset.letter = letter(code);
        key.setAttribute('aria-keyshortcuts', letter(code));
      }
      if (note % 12 === 0) key.append(document.createElement('span'));
      return key;
    }));
    piano.firstElementChild.tabIndex = 0;
    label();
  }

  /** Every key has its name, and each C shows it. */
  function label() {
    for (const key of piano.children) {
      const name = pretty(names[key.dataset.note]);
      key.setAttribute('aria-label', name);
      if (key.firstElementChild) key.firstElementChild.textContent = name;
    }
  }

  const keyAt = (event) => {
    const key = document.elementFromPoint(event.clientX, event.clientY)?.closest?.('#piano [data-note]');
    if (!key) return null;
    const { top, height } = key.getBoundingClientRect();
    return { note: Number(key.dataset.note), velocity: velocityAt((event.clientY - top) / height) };
  };

  piano.addEventListener('pointerdown', (event) => {
    const key = keyAt(event);
    if (!key || event.button > 0) return;
    event.preventDefault();
    piano.setPointerCapture?.(event.pointerId);
    strike(event.pointerId, key.note, key.velocity);
  });
  piano.addEventListener('pointermove', (event) => {
    if (!holders.has(event.pointerId)) return;
    const key = keyAt(event);
    if (key && key.note !== holders.get(event.pointerId)) down(event.pointerId, key.note, key.velocity);
  });
  for (const end of ['pointerup', 'pointercancel', 'lostpointercapture']) piano.addEventListener(end, (event) => up(event.pointerId));
  piano.addEventListener('contextmenu', (event) => event.preventDefault());
  // Enter or a screen reader: a short note. Space is the pedal.
  piano.addEventListener('click', (event) => {
    const key = event.target.closest('[data-note]');
    if (!key || event.detail !== 0) return;
    const holder = `click ${key.dataset.note}`;
    strike(holder, Number(key.dataset.note), velocityAt(0.6));
    setTimeout(() => up(holder), 400);
  });
  piano.addEventListener('keydown', (event) => {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    const to = step && (step > 0 ? event.target.nextElementSibling : event.target.previousElementSibling);
    if (!step) return;
    event.preventDefault();
    event.stopPropagation();
    if (!to) return;
    event.target.tabIndex = -1;
    to.tabIndex = 0;
    to.focus();
  });

  const isOpen = () => !panel.hidden;
  const shift = (by) => {
    low = Math.min(HIGHEST - 12, Math.max(LOWEST, low + by));
    build();
  };

  document.addEventListener('keydown', (event) => {
    if (!isOpen() || event.ctrlKey || event.metaKey || event.altKey || document.querySelector('dialog[open]')) return;
    if (event.target.closest?.('select')) return;
    if (CODES.has(event.code)) {
      if (!event.repeat) strike(event.code, middle() + CODES.get(event.code), velocityAt(0.6));
    } else if (event.code === 'Space') setPedal(true);
    else if (event.key === 'PageUp' || event.key === 'PageDown') shift(event.key === 'PageUp' ? 12 : -12);
    else if (event.key === 'Escape') close();
    else return;
    event.preventDefault();
  });
  document.addEventListener('keyup', (event) => {
    up(event.code);
    if (event.code !== 'Space' || !isOpen() || document.querySelector('dialog[open]')) return;
    // Some browsers press the focused button when it comes up.
    event.preventDefault();
    setPedal(false);
  });
  addEventListener('blur', allUp);
  document.addEventListener('visibilitychange', () => document.visibilityState === 'hidden' && allUp());
  addEventListener('pagehide', allUp);

  $('sustain').addEventListener('pointerdown', () => setPedal(true));
  for (const end of ['pointerup', 'pointercancel', 'pointerleave']) $('sustain').addEventListener(end, () => setPedal(false));
  $('sustain').addEventListener('click', (event) => event.detail === 0 && setPedal(!pedal));
  // For a mouse, which has one finger only: chords key by key.
  $('keep').addEventListener('click', () => {
    const on = !keeps();
    $('keep').setAttribute('aria-checked', on);
    if (!on) [...holders.keys()].filter((holder) => String(holder).startsWith('stay ')).forEach(up);
  });
  $('plays-as').addEventListener('click', () => playAs(inputs[(inputs.indexOf(chosen ?? usual) + 1) % inputs.length]));
  $('lower-octave').addEventListener('click', () => shift(-12));
  $('higher-octave').addEventListener('click', () => shift(12));

  function open() {
    if (isOpen()) return close();
    if (!canControl()) return tell('This page is view only.');
    panel.hidden = false;
    document.body.classList.add('hand-opened');
    $('play-here').setAttribute('aria-expanded', true);
    $('play-here-what').textContent = 'close keys';
    build();
    $('hear').focus();
  }
  function close() {
    allUp();
    panel.hidden = true;
    document.body.classList.remove('hand-opened');
    $('play-here').setAttribute('aria-expanded', false);
    $('play-here-what').textContent = 'play here';
    $('play-here').focus();
  }
  $('play-here').addEventListener('click', open);
  layout();
  addEventListener('resize', () => isOpen() && build());

  const showSound = () => {
    const on = sound.isOn();
    $('hear').setAttribute('aria-checked', on);
    $('hear-how').textContent = on ? 'on' : 'off';
    $('play-here-how').textContent = on ? 'sounds here' : 'keys and sound';
    if (on) $('begin').hidden = true;
  };
  async function hear(on) {
    // Told first: the program answers with what sounds, and what is struck meanwhile waits for the sound.
    send({ sound: on });
    if (!on) sound.stop();
    else if (!(await sound.start(Number($('level').value)))) {
      send({ sound: false });
      tell('This browser gives no sound.');
    }
    showSound();
  }
  $('hear').addEventListener('click', () => hear(!sound.isOn()));

  /**
   * Where the page is all there is, as in `try`: the keys are open, and sound begins with the first, at its low level.
   * Browsers do not let it begin with a finger that goes down, so where fingers play, one tap comes before the keys.
   */
  function playAtOnce() {
    if (isOpen() || !canControl()) return;
    open();
    $('begin').hidden = !matchMedia('(pointer: coarse)').matches;
    const began = new AbortController();
    const begin = (event) => {
      if (event.type === 'pointerdown' && event.pointerType !== 'mouse') return;
      began.abort();
      if (!sound.isOn()) hear(true);
    };
    for (const [where, what] of [[piano, 'pointerdown'], [piano, 'pointerup'], [piano, 'touchend'], [document, 'keydown'], [$('begin'), 'click']]) {
      where.addEventListener(what, begin, { signal: began.signal });
    }
  }
  $('level').addEventListener('input', () => {
    const level = Number($('level').value);
    $('level-words').textContent = `${level < 0 ? '−' : ''}${Math.abs(level)} dB`;
    sound.level(level);
  });

  return {
    isOpen,
    open,
    playAtOnce,
    /** The names of all notes, and what these keys can play as. */
    knows(set) {
      names = set.notes;
      inputs = set.inputs.filter((input) => input.plays).map((input) => input.name);
      usual = set.plays_as;
      if (chosen && !inputs.includes(chosen)) playAs(null);
      showInput();
      label();
    },
    /** What the outputs got. */
    sent(frame) {
      if (frame.lost) sound.silence();
      sound.play(frame.messages);
    },
    /** After every greeting the program has forgotten what this page wants. */
    welcomed() {
      isCut = false;
      if (chosen) setTimeout(() => send({ plays_as: chosen }), 0);
      if (sound.isOn()) setTimeout(() => send({ sound: true }), 0);
      if (pedal) setTimeout(() => send({ pedal: true, at: now() }), 0);
    },
    cut(value) {
      isCut = value;
      if (!value) return;
      // The program lifts by itself what a page held that it no longer hears.
      const notes = [...holders.values()];
      holders.clear();
      notes.forEach(mark);
      pedal = false;
      $('sustain').setAttribute('aria-pressed', false);
      sound.silence();
    },
  };
}
