// The dialogs that are opened by a tap: songs, sections, the state in full.

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

/** The set's songs; a tap goes to one. Titles may stand twice, so the position is what is sent. */
export function drawSongList({ set: show, state, can }, press) {
  if (!show || !state) return;
  set($('songs-name'), show.title || 'Tonight');
  set($('set-remark'), show.remark ?? '');
  $('song-list').replaceChildren(...show.entries.map((entry) => {
    const keys = entry.pause ? 'a pause' : entry.room ? `room ${pretty(entry.room)}, fingers ${pretty(entry.fingers)}` : '';
    const note = [keys, entry.remark].filter(Boolean).join(' · ');
    return choice(`${entry.position}  ${entry.title}`, note, entry.position === state.entry.position, can !== 'control', () => {
      $('songs').close();
      press(['song', String(entry.position)]);
    });
  }));
}

export function drawSectionList({ song, state, can }, press) {
  if (!song || !state) return;
  const names = [...new Set([...song.order.map((index) => song.sections[index]?.name), ...song.sections.map(({ name }) => name)])];
  $('section-list').replaceChildren(...names.filter(Boolean).map((name) => {
    const { remark } = song.sections.find((section) => section.name === name);
    return choice(name, remark, name === state.song?.section?.name, can !== 'control', () => {
      $('section-choice').close();
      press(['section', name]);
    });
  }));
}

/** Whether a port is connected; nothing can be missing at a port of our own, only nothing connected to it. */
const link = ({ port, connected, optional }) => (connected ? 'connected' : optional ? 'not connected, optional' : port ? 'not connected' : 'nothing connected');

const lines = (id, all) => {
  const list = $(id);
  const text = JSON.stringify(all);
  if (list.dataset.lines === text) return;
  list.dataset.lines = text;
  list.replaceChildren(...all.map(([line, wrong]) => make('li', wrong ? 'wrong' : '', line)));
};

/** All figures; only drawn while they are looked at. */
export function drawDetails({ set: show, state, can }) {
  if (!state || !$('details').open) return;
  const port = ({ port: name }) => (name ? ` (“${name}”)` : '');
  lines('details-inputs', state.inputs.map((one) => [`${one.name}${port(one)}: ${link(one)}`, !one.connected && !one.optional]));
  lines('details-outputs', state.outputs.map((one) => [`${one.name}${port(one)}: ${link(one)}`, !one.connected && !one.optional]));
  set($('details-trouble'), state.trouble ? `Last trouble, ${ago(performance.now() - state.trouble.at)}: ${state.trouble.words}` : 'No trouble so far.');
  lines('details-findings', (show?.findings.length ? show.findings : ['Nothing: check finds nothing in this set.']).map((one) => [one]));
  lines('details-figures', [
    [state.latency_us === null ? 'from key to sound: nothing played yet' : `from key to the last byte: ${(state.latency_us / 1000).toFixed(2)} ms at most for 99 of 100`],
    [`dropped because it came too fast: ${state.counts.dropped_overload}`, state.counts.dropped_overload > 0],
    [`refused by an output: ${state.counts.refused}`],
    [`pages connected: ${state.viewers ?? 1}`],
    [can === 'control' ? 'this page can control the set' : 'this page is view only'],
    ...(state.set?.unsaved?.length ? [[`not saved: ${state.set.unsaved.join(', ')}`]] : []),
  ]);
}

/** So many messages are shown, the latest on top. */
const MOST_ARRIVED = 8;

/** What inputs receive is wanted while this dialog is open on a page that can control; `send` tells the program so. */
export function wireArrivals(send) {
  const wanted = (on) => {
    $('arrivals').hidden = !on;
    if (on) arrived([]);
    send({ received: on });
  };
  $('details').addEventListener('close', () => wanted(false));
  return {
    /** Asks for it anew: the dialog was opened, or the program is there again. */
    ask: (can) => $('details').open && wanted(can === 'control'),
    took: (lines) => arrived(lines),
  };
}

function arrived(lines) {
  const list = $('arrivals-list');
  if (!lines.length) list.replaceChildren();
  for (const { words, when } of lines) {
    const item = make('li', '', words);
    if (when) item.append(make('code', '', when));
    list.prepend(item);
  }
  while (list.children.length > MOST_ARRIVED) list.lastChild.remove();
  $('arrivals-none').hidden = list.children.length > 0;
}

const ago = (milliseconds) => (milliseconds < 60000 ? `${Math.round(milliseconds / 1000)} s ago` : `${Math.round(milliseconds / 60000)} min ago`);
