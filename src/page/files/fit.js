// What has room: letters shrink to their boxes, and where the page is too full, it gives up one thing after the other
// in the order of docs/stand.md. Panic, both keys, next section and next song are never given up.

import { placeReaches } from './horizon.js';

const $ = (id) => document.getElementById(id);

/** What yields, in this order; stand.css says how. */
const STEPS = ['later', 'reaches', 'chords', 'remark', 'title', 'sounds', 'letters', 'eight', 'evening', 'close', 'small', 'smaller', 'smallest'];
/** A phone on its side has the sounds folded away at once. */
const FLAT = matchMedia('(max-height: 480px) and (orientation: landscape)');
const SMALLEST = 10; // pixels; below that nobody reads

const tooWide = ({ scrollWidth, clientWidth }) => scrollWidth > clientWidth + 1;
const tooHigh = ({ scrollHeight, clientHeight }) => scrollHeight > clientHeight + 4;

/**
 * Makes a text smaller until it has room: in both directions, or with `data-fit="width"` in one line. What has no room
 * even in the smallest letters loses lines, with an ellipsis, as far as its parts of the class `short` allow that.
 */
export function fit(element) {
  const inOneLine = element.dataset.fit === 'width';
  const short = element.classList.contains('short') ? element : element.querySelector('.short');
  element.classList.remove('tight');
  element.style.setProperty('--lines', 12);
  const hasRoom = () => !tooWide(element) && (inOneLine || !tooHigh(element)) && !(short && tooWide(short));
  for (let size = 1; size > 0.24; size -= 0.04) {
    element.style.setProperty('--fit', size.toFixed(2));
    if (hasRoom()) return;
    if (short && parseFloat(getComputedStyle(short).fontSize) <= SMALLEST + 1) break;
  }
  for (let lines = 6; short && lines > 0; lines -= 1) {
    element.style.setProperty('--lines', lines);
    if (hasRoom()) return;
  }
  element.classList.add('tight');
}

/** As many sounds in a row as have room for their longest words. */
function fitZones() {
  const box = $('zones');
  const names = [...box.querySelectorAll('.what')];
  for (let columns = names.length; columns > 0; columns -= 1) {
    // The last row is not left nearly empty.
    const even = Math.ceil(names.length / Math.ceil(names.length / columns));
    box.style.setProperty('--columns', even);
    if (names.every((name) => name.scrollWidth <= name.clientWidth)) return;
  }
}

/** Chords that are wider than their bar become smaller, each for itself: the others stay as large as they are. */
function fitChords() {
  const bars = [...document.querySelectorAll('.chords li')].filter((bar) => bar.clientWidth);
  // Read all, then write all: one layout for all bars.
  const needs = bars.map((bar) => [bar, bar.clientWidth - parseFloat(getComputedStyle(bar).paddingLeft), Math.max(...[...bar.children].map((chord) => chord.offsetWidth))]);
  for (const [bar, room, wide] of needs) {
    if (wide > room) bar.style.setProperty('--fit', (0.97 * room / wide).toFixed(3));
  }
}

/** Knots that would lie over one another stand closer; where even that is too much, the number beside them says it all. */
export function fitKnots() {
  const knots = $('knots');
  knots.classList.remove('close', 'none');
  for (const kind of ['close', 'none']) if (knots.scrollWidth > knots.clientWidth) knots.classList.add(kind);
}

/** Whether everything stands on the screen. */
function hasRoom() {
  const stand = $('stand');
  const { bottom } = stand.getBoundingClientRect();
  return $('strip').getBoundingClientRect().bottom <= bottom - parseFloat(getComputedStyle(stand).paddingBottom) + 1;
}

/** Draws the page with these things given up, and says whether it has room so. */
function tryOut(yields) {
  $('stand').dataset.yields = yields.join(' ');
  const folded = yields.includes('sounds') || FLAT.matches;
  document.body.classList.toggle('folded', folded && $('zones').childElementCount > 0);
  if (!folded) document.body.classList.remove('zones-opened');
  fitZones();
  fitKnots();
  placeReaches();
  return hasRoom();
}

/** Gives up as little as possible, so that everything else has room; then fits every text. */
export function arrange() {
  for (const one of document.querySelectorAll('[data-fit], .chords li')) one.style.removeProperty('--fit');
  let yields = [];
  for (const step of STEPS) {
    if (tryOut(yields)) break;
    yields = [...yields, step];
  }
  // What yielded in vain comes back, the most important first.
  for (const step of [...yields].reverse()) {
    const without = yields.filter((one) => one !== step);
    if (tryOut(without)) yields = without;
  }
  tryOut(yields);
  fitChords();
  document.querySelectorAll('[data-fit]').forEach(fit);
}

let arranged = '';
/** Arranges the page again where what is shown asks for another arrangement. */
export function arrangeIfNew({ song, state }) {
  const section = state.entry.pause ? null : state.song?.section;
  const now = JSON.stringify([state.entry, section?.name, section?.next, song?.position, song?.sections, song?.keyboards?.length, state.song?.zones?.map(({ name }) => name), state.cues, state.inputs.map(({ connected }) => connected)]);
  if (now === arranged) return;
  arranged = now;
  arrange();
}
