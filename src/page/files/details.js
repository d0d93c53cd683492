// The dialogs that are opened by a tap: songs, sections, how it stands in full.

import { make, set } from './draw.js';
import { pretty } from './spell.js';

const $ = (id) => document.getElementById(id);

/** Opens a dialog; its close button and Escape close it. */
export function open(id) {
  const dialog = $(id);
  if (!dialog.open) dialog.showModal();
}

export function wireDialogs() {
  for (const dialog of document.querySelectorAll('dialog')) {
    dialog.querySelector('.close')?.addEventListener('click', () => dialog.close());
    // A tap beside it closes it too, as thumbs expect; the door stays.
    if (dialog.id !== 'door') dialog.addEventListener('click', (event) => event.target === dialog && dialog.close());
  }
}

function choice(text, note, current, disabled, act) {
  const item = make('li');
  const button = make('button', 'choice');
  button.append(make('span', 'what', text));
  if (note) button.append(make('span', 'how', note));
  if (current) button.setAttribute('aria-current', 'true');
  button.disabled = disabled;
  button.addEventListener('click', act);
  item.append(button);
  return item;
}

/** The set's songs; a tap goes to one. Titles may stand twice, so the place is what is sent. */
export function drawSongList({ set: show, state, may }, press) {
  if (!show || !state) return;
  set($('songs-name'), show.title || 'Tonight');
  $('song-list').replaceChildren(...show.entries.map((entry) => {
    const keys = entry.pause ? 'a pause' : entry.key ? `${pretty(entry.key)}, fingers in ${pretty(entry.play_in)}` : '';
    const note = [keys, entry.remark].filter(Boolean).join(' · ');
    return choice(`${entry.place}  ${entry.title}`, note, entry.place === state.entry.place, may !== 'move', () => {
      $('songs').close();
      press(['song', String(entry.place)]);
    });
  }));
}

export function drawSectionList({ song, state, may }, press) {
  if (!song || !state) return;
  const names = [...new Set([...song.order.map((index) => song.sections[index]?.name), ...song.sections.map(({ name }) => name)])];
  $('section-list').replaceChildren(...names.filter(Boolean).map((name) => {
    const { remark } = song.sections.find((section) => section.name === name);
    return choice(name, remark, name === state.song?.section?.name, may !== 'move', () => {
      $('section-choice').close();
      press(['section', name]);
    });
  }));
}

const lines = (id, all) => {
  const list = $(id);
  const text = JSON.stringify(all);
  if (list.dataset.lines === text) return;
  list.dataset.lines = text;
  list.replaceChildren(...all.map(([line, wrong]) => make('li', wrong ? 'wrong' : '', line)));
};

/** All figures; only drawn while they are looked at. */
export function drawDetails({ state, may }) {
  if (!state || !$('details').open) return;
  const port = ({ port: name }) => (name ? ` (“${name}”)` : '');
  lines('details-inputs', state.inputs.map((one) => [`${one.name}${port(one)}: ${one.there ? 'there' : one.optional ? 'not there, and need not be' : 'not there'}`, !one.there && !one.optional]));
  lines('details-outputs', state.outputs.map((one) => [`${one.name}${port(one)}: ${one.there ? (one.port ? 'there' : 'somebody listens') : one.optional ? 'not there, and need not be' : one.port ? 'not there' : 'nobody listens'}`, !one.there && !one.optional]));
  set($('details-trouble'), state.trouble ? `Last trouble, ${ago(performance.now() - state.trouble.at)}: ${state.trouble.words}` : 'No trouble so far.');
  lines('details-figures', [
    [state.latency_us === null ? 'from key to sound: nothing played yet' : `from key to the last byte: ${(state.latency_us / 1000).toFixed(2)} ms at most for 99 of 100`],
    [`left out because it came too fast: ${state.counts.shed}`, state.counts.shed > 0],
    [`not taken by an output: ${state.counts.not_taken}`],
    [`pages that look: ${state.viewers ?? 1}`],
    [may === 'move' ? 'this page may move the set' : 'this page may look only'],
    ...(state.set?.unsaved?.length ? [[`not saved: ${state.set.unsaved.join(', ')}`]] : []),
  ]);
}

const ago = (milliseconds) => (milliseconds < 60000 ? `${Math.round(milliseconds / 1000)} s ago` : `${Math.round(milliseconds / 60000)} min ago`);
