// At a rehearsal: level, octave, reach, linger and beginning of each zone, and the song's tempo. Each touch is a change, in
// force at once; undo takes back the last one, and the files are written only on request.

import { make, set } from './draw.js';
import { open } from './details.js';

const $ = (id) => document.getElementById(id);
const LINGERS = ['off', 'next', 'toggle'];
const signed = (number) => (number < 0 ? `−${-number}` : number > 0 ? `+${number}` : '0');

/**
 * Wires the dialog. `shown()` is what the program told last, `ask(words)` has something done and gives its answer,
 * `tell(words)` shows the player a sentence.
 */
export function wireAdjust({ shown, ask, tell }) {
  let reaching = null; // the zone whose reach is played, its song, and its first key
  let down = new Set();
  const say = async (...words) => {
    const { words: answer } = await ask(words.map(String));
    set($('adjust-kept'), answer);
    tell(answer);
  };
  const button = (words, name, press) => {
    const one = make('button', '', words);
    if (words.length === 1) one.setAttribute('aria-label', name);
    one.dataset.does = name;
    one.disabled = shown().can !== 'control';
    one.addEventListener('click', press);
    return one;
  };

  /** A number between the two buttons that change it. */
  const steps = (what, value, words, change) => [
    button('−', `${what} lower`, () => change(value - 1)), make('span', 'value', words), button('+', `${what} higher`, () => change(value + 1)),
  ];

  function row(zone, index) {
    const at = index + 1;
    const adjust = (field, ...values) => say('adjust-zone', at, field, ...values);
    const reach = reaching?.at !== at ? `keys ${zone.keys.join('–')}` : reaching.low === null ? 'press the lowest key' : 'now the highest key';
    const item = make('li', 'choices');
    item.dataset.adjusts = zone.name;
    const linger = LINGERS[(LINGERS.indexOf(zone.linger) + 1) % LINGERS.length];
    item.append(
      make('span', 'what', zone.name),
      ...steps('level', zone.level, `${signed(zone.level)} dB`, (value) => adjust('level', value)),
      ...steps('octave', zone.octave, `octave ${signed(zone.octave)}`, (value) => adjust('octave', value)),
      button(reach, 'reach', () => {
        reaching = reaching?.at === at ? null : { at, low: null, song: shown().song?.position };
        draw();
      }),
      button(`linger ${zone.linger}`, 'linger', () => adjust('linger', linger)),
      button(zone.starts ? 'begins on' : 'begins off', 'begins', () => adjust('on', zone.starts ? 'off' : 'on')),
    );
    return item;
  }

  function draw() {
    const { song, state, can } = shown();
    if (reaching && reaching.song !== song?.position) reaching = null;
    if (!$('adjust').open || !state) return;
    const { activeElement } = document;
    const focus = [activeElement?.closest('[data-adjusts]')?.dataset.adjusts, activeElement?.dataset?.does];
    const tempo = Math.round(song?.tempo ?? 0);
    const tempos = tempo ? steps('tempo', tempo, `♩ ${tempo}`, (value) => say('adjust-song', 'tempo', value)) : [make('span', '', 'no tempo')];
    $('adjust-tempo').replaceChildren(...tempos);
    $('adjust-zones').replaceChildren(...(song?.zones ?? []).map(row));
    const unsaved = state.set.unsaved.length;
    for (const id of ['undo-change', 'save-adjusted']) $(id).disabled = can !== 'control' || !unsaved;
    // What was pressed stays where the keyboard is.
    const rows = [...$('adjust').querySelectorAll('[data-does]')];
    if (focus[1]) rows.find((one) => one.dataset.does === focus[1] && one.closest('[data-adjusts]')?.dataset.adjusts === focus[0])?.focus();
  }

  $('adjust-open').addEventListener('click', () => {
    $('details').close();
    reaching = null;
    set($('adjust-kept'), '');
    open('adjust');
    draw();
  });
  $('undo-change').addEventListener('click', () => say('undo-change'));
  $('save-adjusted').addEventListener('click', () => say('save-set'));
  return {
    /** Song or state have changed. */
    changed: draw,
    /** Keys are down, of each input: the first that is new is the lowest of a reach, the next one the highest. */
    played: (inputs) => {
      const before = down;
      down = new Set(inputs.flat());
      const key = [...down].find((one) => !before.has(one));
      if (!reaching || key === undefined || !$('adjust').open) return;
      if (reaching.low === null) reaching.low = key;
      else {
        const { at, low } = reaching;
        reaching = null;
        say('adjust-zone', at, 'keys', Math.min(low, key), Math.max(low, key));
      }
      draw();
    },
  };
}
