// The words of the page: song, sections, keys, chords, zones, state. Only what changed is touched.

import { fit, fitKnots } from './fit.js';
import { pretty, setName, signed } from './spell.js';

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
  let knotsAreNew = false;
  if (show && knots.childElementCount !== show.entries.length) {
    knots.replaceChildren(...show.entries.map(() => make('i')));
    knotsAreNew = true;
  }
  show?.entries.forEach((one, index) => {
    const position = index + 1;
    const kind = position === entry.position ? 'now' : position < entry.position ? 'past' : 'ahead';
    const name = one.pause ? `pause ${kind}` : kind;
    if (knots.children[index].className !== name) knots.children[index].className = name;
  });
  set($('count'), `${entry.position} of ${show?.entries.length ?? '?'}`);
  if (knotsAreNew) fitKnots();
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
    const rest = song.order.slice(section.step + 1).map((index) => song.sections[index]?.name);
    later = rest.length > 3 ? `${rest.slice(0, 3).join(' · ')} · ${rest.length - 3} more` : rest.join(' · ');
  }
  const changes = state.next_section_key ? `, ${flat(state.next_section_key)}` : '';
  const next = pause ? (state.song ? `the keys still play ${state.song.title}` : '') : section?.next ? `then ${section.next}${changes}` : section ? 'the last one' : '';
  const remarks = [...new Set([section && !pause ? section.remark : null, pause ? null : song?.remark, state.entry.remark])].filter(Boolean);
  // Grey, but a press there is still answered in words.
  for (const id of ['next-section-go', 'previous-section']) $(id).setAttribute('aria-disabled', pause || !section);
  const changed = [
    set(line, name),
    set($('next-section'), next),
    set($('later'), later && `· ${later}`),
    set($('remark'), remarks.join(' · ')),
  ];
  if (changed.some(Boolean)) [line, $('after')].forEach(fit);
  const songAhead = [set($('next-song-title'), state.next ?? 'the end'), set($('next-song-key'), flat(state.next_key))];
  if (songAhead.some(Boolean)) fit($('next-song'));
  const ahead = [set($('next-section-title'), section?.next ?? (section ? 'the last one' : '–')), set($('next-section-key'), flat(state.next_section_key))];
  if (ahead.some(Boolean)) fit($('next-section-go'));
}

/** The room's key, the fingers' key, and the shift between them. */
export function drawKeys({ state }) {
  const keys = state.song?.keys;
  for (const [id, name] of [['room-key', keys?.room], ['finger-key', keys?.fingers]]) {
    if (setName($(id), name ?? '–')) fit($(id));
  }
  set($('shift-number'), keys ? signed(keys.shift) : '');
  set($('shift-words'), !keys ? '' : keys.transposed_by_hand ? `${signed(keys.transposed_by_hand)} from tonight’s ${flat(keys.room_on_entry)}` : keys.shift ? 'semitones' : 'as played');
  set($('room-on-entry'), keys ? flat(keys.room_on_entry) : '');
}

/** The section's chords, above the room's and below the fingers', each over its partner. */
export function drawChords({ song, state }) {
  const index = state.entry.pause ? null : sectionIndex(song, state);
  const section = index === null ? null : song.sections[index];
  for (const [id, bars] of [['room-chords', section?.room ?? []], ['finger-chords', section?.fingers ?? []]]) {
    const list = $(id);
    const text = JSON.stringify(bars);
    if (list.dataset.bars === text) continue;
    list.dataset.bars = text;
    list.style.setProperty('--bars', Math.min(4, bars.length || 1));
    list.style.setProperty('--eight', Math.min(8, bars.length || 1));
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

/** The chord that is held, in the room and in the fingers, also among the section's. */
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
export function drawZones({ song, state, can }, press) {
  const zones = state.song?.zones ?? [];
  const wanted = zones.map(({ name }) => ({ zone: name }));
  if (song?.drone || state.drone) wanted.push({ zone: null });
  const box = $('zones');
  const names = JSON.stringify([wanted, can]);
  if (box.dataset.names !== names) {
    box.dataset.names = names;
    box.replaceChildren(...wanted.map(({ zone }) => {
      const button = make('button', zone === null ? 'zone drone' : 'zone');
      button.id = zone === null ? 'drone' : '';
      if (!button.id) button.removeAttribute('id');
      if (zone !== null) button.dataset.zone = zone;
      button.setAttribute('role', 'switch');
      button.disabled = can !== 'control';
      button.append(make('span', 'lamp'), make('span', 'what short', zone ?? 'drone'), make('span', 'how short'));
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

/** What each zone and the drone sound now; several zones of one channel sound the same notes. */
export function drawSounding({ song, state, hand }) {
  for (const button of $('zones').children) {
    const zone = song?.zones?.find(({ name }) => name === button.dataset.zone);
    const { output } = zone ?? {};
    const sounding = zone && !button.classList.contains('rests') ? hand?.notes?.findIndex(([out, channel]) => out === output && channel === zone.channel) : -1;
    // Nine names are more than anybody reads; the flags show them all.
    const notes = (hand?.names?.[sounding] ?? []).slice(0, 5).map(pretty).join(' ');
    const words = notes && button.getAttribute('aria-checked') === 'true' ? `${button.dataset.state} · ${notes}` : button.dataset.state;
    const how = button.querySelector('.how');
    button.dataset.sounds = button.getAttribute('aria-checked') === 'true' ? notes : '';
    how.dataset.output = notes && zone ? output % 3 : '';
    set(how, words);
  }
}

/**
 * Over the keys of the page, in a line: what sounds; while nothing does, what to do where nothing is plugged in, and why
 * a key sounds as another note.
 */
export function drawHint({ song, state }) {
  const zones = [...$('zones').children];
  const sounding = zones.filter(({ dataset }) => dataset.sounds).map((zone) => `${zone.querySelector('.what').textContent} ${zone.dataset.sounds}`);
  const keys = state.song?.keys;
  const plays = (song?.zones ?? []).map(({ name }) => name).filter((name) => zones.some(({ dataset }) => dataset.zone === name && dataset.state === 'on'));
  const nothing = !state.inputs.some(({ connected }) => connected);
  const what = nothing && plays.length ? `Nothing is plugged in: hold three keys here, and hear ${plays.join(' and ')}.` : '';
  const tonic = (key) => flat(key.replace(/m$/, ''));
  const why = keys?.shift ? `A key ${tonic(keys.fingers)} sounds as ${tonic(keys.room)}: fingers in ${flat(keys.fingers)}, room in ${flat(keys.room)}.` : '';
  set($('hint'), sounding.length ? `sounds now: ${sounding.join(' · ')}` : [what, why].filter(Boolean).join(' '));
}

/** The state, in plain words: what is wrong, or quietly that nothing is. */
export function drawWords({ state, can }) {
  const cues = $('cues');
  const standing = JSON.stringify(state.cues);
  if (cues.dataset.cues !== standing) {
    cues.dataset.cues = standing;
    cues.replaceChildren(...state.cues.map((name) => make('p', 'standing', `${name} is on`)));
    document.body.classList.toggle('cued', state.cues.length > 0);
  }
  const unsent = state.not_sent;
  $('again').hidden = !unsent;
  $('again').disabled = can !== 'control';
  set($('not-sent'), `${unsent} not sent`);
  const wrong = faults(state);
  const { is, words: told } = state.trouble ?? {};
  const over = is === 'over' ? told : null;
  const trouble = is === 'now' ? told : null;
  const latency = typeof state.latency_us === 'number' ? ` · ${(state.latency_us / 1000).toFixed(1)} ms` : '';
  const dropped = state.counts?.dropped_overload ? ` · ${state.counts.dropped_overload} dropped` : '';
  $('words').dataset.state = trouble || wrong.length ? 'wrong' : 'well';
  const words = trouble ?? (wrong.length ? wrong.join(' · ') : (over ?? `all connected${latency}${dropped}`));
  if (set($('health-words'), words)) fit($('health'));
  return trouble ?? (wrong.length ? wrong.join(', ') : (over ?? ''));
}

function faults({ inputs, outputs }) {
  const missing = ({ connected, optional }) => !connected && !optional;
  const unconnected = outputs.filter((one) => missing(one) && !one.port).map(({ name }) => name);
  return [
    ...inputs.filter(missing).map(({ name, port }) => `${name} is not connected${port ? `: plug in “${port}”` : ''}`),
    ...outputs.filter((one) => missing(one) && one.port).map(({ name, port }) => `${name} is not connected: “${port}” is missing`),
    ...(unconnected.length ? [`nothing connected to output${unconnected.length > 1 ? 's' : ''} ${unconnected.join(', ')}`] : []),
  ];
}
