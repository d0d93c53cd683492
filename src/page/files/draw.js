// What the words of the page say: song, sections, keys, chords, zones, how it stands. Only what changed is touched.

import { noteName, pretty, setName, signed } from './spell.js';

const $ = (id) => document.getElementById(id);
const flat = (name) => pretty(name);

/** Sets text where it differs, and says whether it did. */
export function set(element, text) {
  text ??= '';
  if (element.textContent === text) return false;
  element.textContent = text;
  return true;
}

export const make = (tag, className, text) => {
  const element = document.createElement(tag);
  if (className) element.className = className;
  if (text !== undefined) element.textContent = text;
  return element;
};

/** Makes a text smaller until it has room: in both directions, or with `data-fit="width"` in one line. */
export function fit(element) {
  const inOneLine = element.dataset.fit === 'width';
  for (let size = 1; size > 0.24; size -= 0.04) {
    element.style.setProperty('--fit', size.toFixed(2));
    const { scrollWidth, clientWidth, scrollHeight, clientHeight } = element;
    if (scrollWidth <= clientWidth + 1 && (inOneLine || scrollHeight <= clientHeight + 4)) break;
  }
}

export const fitAll = () => document.querySelectorAll('[data-fit]').forEach(fit);

/** The song's section that is played, as an index into `song.sections`; null where it has none. */
export function sectionIndex(song, state) {
  const section = state?.song?.section;
  if (!song || !section) return null;
  const index = song.sections.findIndex(({ name }) => name === section.name);
  return index < 0 ? null : index;
}

/** The line of the evening, and the song. */
export function drawSong({ set: show, song, state }) {
  const { entry } = state;
  const knots = $('knots');
  if (show && knots.childElementCount !== show.entries.length) {
    knots.replaceChildren(...show.entries.map(() => make('i')));
  }
  show?.entries.forEach((one, index) => {
    const place = index + 1;
    const kind = place === entry.place ? 'now' : place < entry.place ? 'past' : 'ahead';
    const name = one.pause ? `pause ${kind}` : kind;
    if (knots.children[index].className !== name) knots.children[index].className = name;
  });
  set($('count'), `${entry.place} of ${show?.entries.length ?? '?'}`);
  if (set($('title'), entry.title)) {
    document.title = `${entry.title} · handspan`;
    fit($('title'));
  }
  const tempo = state.tracks?.running && state.tracks.tempo ? state.tracks.tempo : state.tempo;
  const meter = song?.meter?.length === 2 ? ` · ${song.meter.join('/')}` : '';
  set($('tempo'), tempo ? `♩ ${Math.round(tempo)}${meter}` : meter.slice(3));
}

/** The sections, read like a sentence. */
export function drawSections({ song, state }) {
  const section = state.song?.section;
  const pause = state.entry.pause;
  const name = pause ? 'pause' : section?.name ?? (state.song ? 'no sections' : 'no song yet');
  const line = $('section');
  line.classList.toggle('faint', pause || !section);
  let later = '';
  if (!pause && section && song) {
    const rest = song.order.slice(section.place + 1).map((index) => song.sections[index]?.name);
    later = rest.length > 3 ? `${rest.slice(0, 3).join(' · ')} · ${rest.length - 3} more` : rest.join(' · ');
  }
  const next = pause ? (state.song ? `the keys still play ${state.song.title}` : '') : section?.next ? `then ${section.next}` : section ? 'the last one' : '';
  const remarks = [...new Set([section && !pause ? section.remark : null, state.entry.remark])].filter(Boolean);
  const changed = [
    set(line, name),
    set($('next-section'), next),
    set($('later'), later && `· ${later}`),
    set($('remark'), remarks.join(' · ')),
  ];
  if (changed.some(Boolean)) [line, $('after')].forEach(fit);
  if (set($('next-song-title'), state.next ?? 'the end')) fit($('next-song'));
  if (set($('next-section-title'), section?.next ?? (section ? 'the last one' : '–'))) fit($('next-section-go'));
}

/** Both keys and the shift between them. */
export function drawKeys({ state }) {
  const keys = state.song?.keys;
  for (const [id, name] of [['sounding', keys?.sounding], ['play-in', keys?.play_in]]) {
    if (setName($(id), name ?? '–')) fit($(id));
  }
  set($('shift-number'), keys ? signed(keys.shift) : '');
  set($('shift-words'), !keys ? '' : keys.added ? `${signed(keys.added)} from tonight’s ${flat(keys.tonight)}` : keys.shift ? 'semitones' : 'as played');
  set($('tonight'), keys ? flat(keys.tonight) : '');
}

/** The section's chords, above as heard and below as gripped, each over its partner. */
export function drawChords({ song, state }) {
  const index = state.entry.pause ? null : sectionIndex(song, state);
  const section = index === null ? null : song.sections[index];
  for (const [id, bars] of [['room-chords', section?.room ?? []], ['finger-chords', section?.fingers ?? []]]) {
    const list = $(id);
    const text = JSON.stringify(bars);
    if (list.dataset.bars === text) continue;
    list.dataset.bars = text;
    list.style.setProperty('--bars', Math.min(4, bars.length || 1));
    list.dataset.rows = Math.ceil(bars.length / 4);
    list.replaceChildren(...bars.map((bar) => {
      const item = make('li');
      for (const chord of bar) {
        const span = make('span', 'of-bar');
        setName(span, chord);
        item.append(span, ' ');
      }
      if (bar.length > 1) item.dataset.many = bar.length;
      return item;
    }));
  }
}

/** The chord that is held, as gripped and as heard, also where it stands among the section's. */
export function drawChord(hand) {
  const held = hand?.chord;
  for (const [id, name] of [['heard', held?.room], ['gripped', held?.fingers]]) {
    if (setName($(id), name ?? '')) fit($(id));
  }
  for (const [id, name] of [['room-chords', held?.room], ['finger-chords', held?.fingers]]) {
    for (const chord of $(id).querySelectorAll('.of-bar')) chord.classList.toggle('held', !!name && chord.dataset.name === name);
  }
}

/** Zones and drone as switches, each with its state in words. */
export function drawZones({ song, state, may }, press) {
  const zones = state.song?.zones ?? [];
  const wanted = zones.map(({ name }) => ({ zone: name }));
  if (song?.drone || state.drone) wanted.push({ zone: null });
  const box = $('zones');
  const names = JSON.stringify([wanted, may]);
  if (box.dataset.names !== names) {
    box.dataset.names = names;
    box.replaceChildren(...wanted.map(({ zone }) => {
      const button = make('button', zone === null ? 'zone drone' : 'zone');
      button.id = zone === null ? 'drone' : '';
      if (!button.id) button.removeAttribute('id');
      if (zone !== null) button.dataset.zone = zone;
      button.setAttribute('role', 'switch');
      button.disabled = may !== 'move';
      button.append(make('span', 'lamp'), make('span', 'what', zone ?? 'drone'), make('span', 'how'));
      button.querySelector('.lamp').setAttribute('aria-hidden', 'true');
      button.addEventListener('click', () => press(zone === null ? ['drone'] : ['zone', zone]));
      return button;
    }));
  }
  [...box.children].forEach((button, index) => {
    const zone = zones[index];
    const on = zone ? zone.on : state.drone;
    if (button.getAttribute('aria-checked') !== String(on)) button.setAttribute('aria-checked', on);
    button.classList.toggle('rests', !!zone && zone.on && !zone.in_use);
    button.dataset.state = !on ? 'off' : zone && !zone.in_use ? 'on, not in this section' : 'on';
  });
}

/** What each zone and the drone sound now; several zones of one place sound the same notes. */
export function drawSounding({ song, state, hand }) {
  const key = state?.song?.keys?.sounding;
  for (const button of $('zones').children) {
    const zone = song?.zones?.find(({ name }) => name === button.dataset.zone);
    const { output } = zone ?? {};
    const place = zone && !button.classList.contains('rests') && hand?.notes?.find(([out, channel]) => out === output && channel === zone.channel);
    // Nine names are more than anybody reads; the flags show them all.
    const notes = (place?.[2] ?? []).slice(0, 5).map((note) => noteName(note, key)).join(' ');
    const words = notes && button.getAttribute('aria-checked') === 'true' ? `${button.dataset.state} · ${notes}` : button.dataset.state;
    const how = button.querySelector('.how');
    how.dataset.output = notes && zone ? output % 3 : '';
    set(how, words);
  }
}

/** How it stands, in plain words: what is wrong, or quietly that nothing is. */
export function drawWords({ state, may }) {
  const cues = $('cues');
  const standing = JSON.stringify(state.cues);
  if (cues.dataset.cues !== standing) {
    cues.dataset.cues = standing;
    cues.replaceChildren(...state.cues.map((name) => make('p', 'standing', `${name} is open`)));
    document.body.classList.toggle('cued', state.cues.length > 0);
  }
  const back = state.held_back;
  $('again').hidden = !back;
  $('again').disabled = may !== 'move';
  set($('held-back'), `${back} held back`);
  const wrong = faults(state);
  const { is, words: told } = state.trouble ?? {};
  const over = is === 'over' ? told : null;
  const trouble = is === 'now' ? told : null;
  const latency = typeof state.latency_us === 'number' ? ` · ${(state.latency_us / 1000).toFixed(1)} ms` : '';
  const shed = state.counts?.shed ? ` · ${state.counts.shed} left out` : '';
  $('words').dataset.state = trouble || wrong.length ? 'wrong' : 'well';
  const words = trouble ?? (wrong.length ? wrong.join(' · ') : (over ?? `all there${latency}${shed}`));
  if (set($('health-words'), words)) fit($('health'));
  return trouble ?? (wrong.length ? wrong.join(', ') : (over ?? ''));
}

const faults = ({ inputs, outputs }) => [
  ...inputs.filter(({ there, optional }) => !there && !optional).map(({ name, port }) => `${name} is not there${port ? `: plug in “${port}”` : ''}`),
  ...outputs.filter(({ there, optional }) => !there && !optional).map(({ name, port }) => (port ? `${name} is not there: “${port}” is missing` : `nobody listens to ${name}`)),
];
