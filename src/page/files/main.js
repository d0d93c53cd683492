// The stand: takes what the program sends, draws it once a frame, and sends the program what is pressed.

import { drawBoards, drawHand, showBoards } from './horizon.js';
import { drawChord, drawChords, drawHint, drawKeys, drawSections, drawSong, drawSounding, drawWords, drawZones, set } from './draw.js';
import { drawDetails, drawSectionList, drawSongList, open, wireArrivals, wireDialogs } from './details.js';
import { arrange, arrangeIfNew, fit } from './fit.js';
import { wireAdjust } from './adjust.js';
import { wireKeyChoice } from './keychoice.js';
import { openLink } from './link.js';
import { wireHand } from './keys.js';
import { wireLight } from './light.js';
import { wirePresses } from './press.js';
import { beat } from './beat.js';

const $ = (id) => document.getElementById(id);

// Everything that is shown comes from here, and everything here came from the program.
const shown = { set: null, song: null, state: null, hand: null, can: null };
const dirty = new Set();
let seen = 0; // the number of the last state that is on the screen
let scheduled = false;
let welcomedBefore = false;

function stale(part) {
  dirty.add(part);
  if (scheduled) return;
  scheduled = true;
  requestAnimationFrame(draw);
}

function draw() {
  scheduled = false;
  const parts = new Set(dirty);
  dirty.clear();
  const { state, song, hand } = shown;
  if (song && shown.set && (parts.has('song') || parts.has('set'))) drawBoards(song.keyboards, shown.set.inputs);
  if (state) {
    if (parts.has('song') || parts.has('state') || parts.has('set')) {
      showBoards(state.inputs);
      drawSong(shown);
      drawSections(shown);
      drawKeys(shown);
      drawChords(shown);
      drawZones(shown, press);
      announce(drawWords(shown));
      drawDetails(shown);
      keyChoice.changed();
      adjust.changed();
      beat(state);
      arrangeIfNew(shown);
    }
    seen = state.seen;
  }
  drawHand(hand);
  drawChord(hand);
  if (state) {
    drawSounding(shown);
    drawHint(shown);
  }
}

const live = { song: '', section: '', trouble: '', keys: '' };

// The live region: song, section, key and trouble, not every chord.
function announce(trouble) {
  const { state } = shown;
  const keys = state.song?.keys;
  const now = {
    song: state.entry.title,
    section: state.song?.section?.name ?? '',
    keys: keys ? `room ${keys.room}, fingers ${keys.fingers}` : '',
    trouble,
  };
  const news = Object.keys(now).filter((part) => now[part] !== live[part]).map((part) => now[part]).filter(Boolean);
  Object.assign(live, now);
  if (news.length) set($('say'), news.join('. '));
}

let toldTimer = null;
let told = ''; // what is shown so at the moment

/** A sentence for the player, for four seconds: in the place of the words, or while it is cut off beside what says so. */
function tell(words) {
  set($('say'), words);
  clearTimeout(toldTimer);
  toldTimer = setTimeout(() => showTold(''), 4000);
  showTold(words);
}

function showTold(words) {
  told = words;
  const isOld = !$('old').hidden;
  if (words && !isOld) $('health').dataset.told = words;
  else delete $('health').dataset.told;
  set($('told'), $('health').dataset.told);
  fit($('health'));
  if (isOld) sayOld();
}

const canControl = () => shown.can === 'control';

async function press(words) {
  if (!canControl()) return;
  tell((await link.do(words, seen)).words);
}

function takeFrame(frame) {
  switch (frame.kind) {
    case 'welcome':
      Object.assign(shown, { set: null, song: null, state: null, hand: null, can: frame.can });
      document.body.dataset.can = frame.can;
      $('view-only').hidden = frame.can === 'control';
      refusedWords = '';
      $('door').close();
      hand.welcomed();
      arrivals.ask(frame.can);
      if (location.hash === '#play' && !welcomedBefore) hand.playAtOnce();
      welcomedBefore = true;
      break;
    case 'set':
      shown.set = frame;
      hand.knows(frame);
      stale('set');
      break;
    case 'song':
      shown.song = frame;
      stale('song');
      break;
    case 'state':
      shown.state = { ...frame.state, seen: frame.seen, trouble: frame.trouble && { ...frame.trouble, at: performance.now() - frame.trouble.ago_ms }, latency_us: frame.latency_us, viewers: frame.viewers, next: frame.next, next_key: frame.next_key, next_section_key: frame.next_section_key };
      stale('state');
      break;
    case 'hand':
      shown.hand = frame;
      adjust.played(frame.down);
      stale('hand');
      break;
    case 'received':
      arrivals.took(frame.lines);
      break;
    case 'sent':
      hand.sent(frame);
      break;
    default:
  }
}

// Dimmed as a whole, and said in words, so that nobody plays by what is no longer true.
const CUT_OFF = 'Cut off: what you see is old.';
let oldTimer = null;
let refusedWords = '';

function sayOld() {
  const seconds = Math.floor(link.quietFor() / 1000);
  const why = refusedWords || (link.heardOnce() ? `cut off for ${seconds} s: what you see is old` : 'not connected yet');
  set($('old'), told ? `${why}. ${told}` : why);
  fit($('old'));
}

function linkState(now) {
  document.body.dataset.link = now;
  clearInterval(oldTimer);
  hand.cut(now !== 'live');
  $('old').hidden = now === 'live';
  showTold(told);
  if (now === 'live') {
    if ($('say').textContent === CUT_OFF) set($('say'), 'Connected again.');
    return;
  }
  // Asked once more later: at the very start the link is still being made.
  setTimeout(sayOld, 0);
  oldTimer = setInterval(sayOld, 500);
  setTimeout(() => document.body.dataset.link === 'old' && set($('say'), CUT_OFF), 0);
}

// Not let in: for want of the right passcode it is asked for; for any other reason the words stand where one looks.
function refused(words, waitMs, forPasscode) {
  if (!forPasscode) {
    refusedWords = words;
    return;
  }
  const wait = waitMs > 0 ? ` Try again in ${Math.ceil(waitMs / 1000)} s.` : '';
  set($('door-words'), words + wait);
  open('door');
  $('enter').disabled = waitMs > 0;
  clearTimeout(refused.timer);
  refused.timer = setTimeout(() => ($('enter').disabled = false), waitMs);
}

$('door').addEventListener('cancel', (event) => event.preventDefault());
$('door-form').addEventListener('submit', (event) => {
  event.preventDefault();
  if ($('enter').disabled) return;
  const passcode = $('passcode').value;
  $('passcode').value = '';
  set($('door-words'), 'One moment …');
  $('enter').disabled = true;
  // So that this is on the screen before what takes the browser's time.
  setTimeout(() => {
    link.enter(passcode);
    $('enter').disabled = false;
  }, 50);
});

// The link tells from its first moment on, so the hand is there before it.
let link = { live: () => false, send: () => false, now: () => 0, quietFor: () => 0, heardOnce: () => false, do: async () => ({ done: false, words: 'Not connected yet.' }) };
const hand = wireHand({ send: (message) => link.send(message), now: () => link.now(), canControl, tell });
const arrivals = wireArrivals((message) => link.send(message));
wireDialogs();
wireLight();
const adjust = wireAdjust({ shown: () => shown, ask: (words) => link.do(words, seen), tell });
const keyChoice = wireKeyChoice({ shown: () => shown, ask: (words) => link.do(words, seen), tell });
wirePresses({ press, tell, canControl, handOpen: hand.isOpen, openHand: hand.open });
link = openLink({ frame: takeFrame, state: linkState, refused });

$('thread').addEventListener('click', () => {
  drawSongList(shown, press);
  open('songs');
});
$('sections').addEventListener('click', () => {
  if (!shown.song?.sections.length) return;
  drawSectionList(shown, press);
  open('section-choice');
});
$('health').addEventListener('click', () => {
  open('details');
  drawDetails(shown);
  arrivals.ask(shown.can);
});
$('zones-open').addEventListener('click', () => {
  const opened = document.body.classList.toggle('zones-opened');
  $('zones-open').setAttribute('aria-expanded', opened);
});
const sizes = new ResizeObserver(arrange);
for (const one of [document.body, $('hand')]) sizes.observe(one);
// The rows beside these grow and shrink with the song.
const edges = new ResizeObserver((sized) => sized.forEach(({ target }) => fit(target)));
for (const id of ['next-song', 'next-section-go']) edges.observe($(id));
document.fonts?.ready.then(arrange);
