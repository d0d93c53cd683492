// The key of a song tonight, by its name: twelve keys with their shift, for the song that is played or a later one.

import { make, set } from './draw.js';
import { open } from './details.js';
import { pretty, signed } from './spell.js';

const $ = (id) => document.getElementById(id);

/** The songs whose key can be chosen: the one that the keys play, and those that come after it. */
const choosable = ({ set: show, state }) => show.entries.filter(({ pause, position }) => !pause && position >= (state.song?.position ?? 1));

/** What the dialog begins with: the song that is played, in a pause the next one. */
const first = (songs, { state }) => songs.find(({ position }) => position >= state.entry.position) ?? songs[0];

/** Lists the songs, and chooses one. */
function listSongs(shown) {
  const songs = choosable(shown);
  $('key-song').replaceChildren(...songs.map(({ position, title }) => {
    const option = make('option', '', `${position}  ${title}`);
    option.value = position;
    return option;
  }));
  const begin = first(songs, shown);
  if (begin) $('key-song').value = begin.position;
}

/** Draws the twelve keys of the chosen song. */
function drawKeys({ set: show, state, can }, choose) {
  const entry = show.entries.find(({ position }) => String(position) === $('key-song').value);
  $('key-list').replaceChildren(...(entry?.keys ?? []).map(([name, shift, suits]) => {
    const item = make('li');
    const button = make('button', 'choice');
    button.append(make('span', 'what', pretty(name)), make('span', 'how', signed(shift)));
    if (suits) button.append(make('span', 'how', suits));
    if (name === entry.room) button.setAttribute('aria-current', 'true');
    button.dataset.key = name;
    button.disabled = can !== 'control';
    button.addEventListener('click', () => choose(entry, name));
    item.append(button);
    return item;
  }));
  const unsaved = state.set.unsaved.length;
  set($('key-kept'), unsaved ? `Kept for this evening; not in the set’s file: ${unsaved}.` : 'All that was chosen is in the set’s file.');
  $('save-set').hidden = !unsaved;
  $('save-set').disabled = can !== 'control';
}

/**
 * Wires the dialog. `shown()` is what the program told last, `ask(words)` has something done and gives its answer,
 * `tell(words)` shows the player a sentence.
 */
export function wireKeyChoice({ shown, ask, tell }) {
  const said = async (...words) => {
    const { words: answer } = await ask(words);
    tell(answer);
  };
  async function choose({ position }, name) {
    const { state } = shown();
    $('key-choice').close();
    const byHand = state.song?.position === position && state.song.keys.transposed_by_hand !== 0;
    if (!byHand) return said('song-key', String(position), name);
    // What was transposed by hand would keep the room where it is.
    const { done, words } = await ask(['song-key', String(position), name]);
    return done ? said('tonights-key') : tell(words);
  }
  const draw = () => drawKeys(shown(), choose);
  $('keys').addEventListener('click', () => {
    const { set: show, state } = shown();
    if (!show || !state || !choosable(shown()).length) return;
    listSongs(shown());
    draw();
    open('key-choice');
  });
  $('key-song').addEventListener('change', draw);
  $('save-set').addEventListener('click', () => {
    $('key-choice').close();
    said('save-set');
  });
  return {
    /** The set or the state has changed. */
    changed: () => $('key-choice').open && draw(),
  };
}
