// The horizon: the keyboards as the program drew them, what is down on them, what sounds over them, and how far each
// zone reaches below.

const SVG = 'http://www.w3.org/2000/svg';
const ELEMENTS = new Set(['svg', 'g', 'path', 'rect', 'line', 'circle', 'text', 'title', 'tspan']);
const KEYBOARD = document.getElementById('keyboards');

let drawn = '';
let boards = []; // {input, box, keys: Map(note -> {element, middle}), dots, flags, down: Set}

/**
 * The drawing as an element of this page, or null where it holds anything but shapes and words: it comes over the
 * network, so nothing in it may load, link or run.
 */
export function safeDrawing(text) {
  const parsed = new DOMParser().parseFromString(text, 'image/svg+xml');
  const root = parsed.documentElement;
  for (const element of [root, ...root.querySelectorAll('*')]) {
    if (element.namespaceURI !== SVG || !ELEMENTS.has(element.localName)) return null;
    for (const { name } of [...element.attributes]) {
      const bare = name.toLowerCase();
      if (bare.startsWith('on') || bare.endsWith('href')) return null;
      if (bare === 'style') element.removeAttribute(name);
    }
  }
  return root.localName === 'svg' ? document.importNode(root, true) : null;
}

const make = (tag, className, parent) => {
  const element = document.createElement(tag);
  element.className = className;
  parent.append(element);
  return element;
};

/** Plain keys from one note to another, where the program has drawn none: before the first song. */
function plainKeys(low, high) {
  const root = document.createElementNS(SVG, 'svg');
  const isBlack = (note) => [1, 3, 6, 8, 10].includes(note % 12);
  const whitesBelow = (note) => Math.floor(note / 12) * 7 + [0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6][note % 12];
  for (const black of [false, true]) {
    for (let note = low; note <= high; note += 1) {
      if (isBlack(note) !== black) continue;
      const key = document.createElementNS(SVG, 'rect');
      const left = whitesBelow(note) - (black ? 0.31 : 0);
      const shape = { class: `key ${black ? 'black' : 'white'}`, 'data-key': note, x: 10 * left, y: 0, width: black ? 6.2 : 10, height: black ? 38 : 62 };
      Object.entries(shape).forEach(([name, value]) => key.setAttribute(name, value));
      root.append(key);
    }
  }
  return root;
}

/** Draws the keyboards again. */
export function drawBoards(keyboards, inputs) {
  const told = JSON.stringify([keyboards, inputs]);
  if (told === drawn) return;
  drawn = told;
  KEYBOARD.replaceChildren();
  boards = [];
  const plain = () => inputs.filter(({ plays }) => plays).slice(0, 1).map(({ name }) => ({ input: name }));
  for (const { input, svg } of keyboards.length ? keyboards : plain()) {
    const own = inputs.find(({ name }) => name === input);
    const drawing = (svg && safeDrawing(svg)) || (own && plainKeys(own.low, own.high));
    if (!drawing) continue;
    const box = make('div', 'board', KEYBOARD);
    box.dataset.input = input;
    const flags = make('div', 'flags', box);
    const sheet = make('div', 'keys', box);
    const reaches = make('div', 'reaches', box);
    sheet.append(drawing);
    drawing.classList.add('drawing');
    const board = { input, number: inputs.findIndex(({ name }) => name === input), box, keys: new Map(), marks: new Map(), flags, sheet, down: new Set() };
    crop(drawing, board);
    drawReaches(drawing, reaches, board);
    boards.push(board);
  }
  KEYBOARD.dataset.count = boards.length;
}

// Only the keys of the drawing are shown as they are; its words would be too small here, so they are set below.
function crop(drawing, board) {
  const edges = { left: Infinity, right: -Infinity, top: Infinity, bottom: -Infinity };
  const found = [];
  for (const element of drawing.querySelectorAll('.key[data-key]')) {
    const { x, y, width, height } = element.getBBox();
    found.push([Number(element.dataset.key), element, x + width / 2]);
    edges.left = Math.min(edges.left, x);
    edges.right = Math.max(edges.right, x + width);
    edges.top = Math.min(edges.top, y);
    edges.bottom = Math.max(edges.bottom, y + height);
  }
  if (!found.length) return;
  const wide = edges.right - edges.left;
  board.part = (x) => (100 * (x - edges.left)) / wide;
  for (const [note, element, middle] of found) {
    board.keys.set(note, { element, middle: board.part(middle), black: element.classList.contains('black') });
  }
  board.low = Math.min(...board.keys.keys());
  board.high = Math.max(...board.keys.keys());
  drawing.setAttribute('viewBox', `${edges.left} ${edges.top} ${wide} ${edges.bottom - edges.top}`);
  drawing.setAttribute('preserveAspectRatio', 'none');
}

function drawReaches(drawing, parent, board) {
  const reaches = [];
  for (const zone of drawing.querySelectorAll('.zone[data-zone]')) {
    const lines = [...zone.querySelectorAll('.reach')].map((line) => line.getBBox());
    if (!lines.length || !board.part) continue;
    const left = Math.max(0, board.part(Math.min(...lines.map(({ x }) => x))));
    const right = Math.min(100, board.part(Math.max(...lines.map(({ x, width }) => x + width))));
    const label = zone.querySelector('text');
    const name = zone.dataset.zone;
    const goes = (label?.textContent ?? '').slice((label?.querySelector('tspan')?.textContent ?? name).length).trim();
    const element = make('div', 'reach', parent);
    element.classList.toggle('off', zone.classList.contains('off'));
    element.style.left = `${left}%`;
    element.style.width = `${right - left}%`;
    const words = make('span', 'reach-words', element);
    make('b', '', words).textContent = name;
    if (goes) make('span', 'goes', words).textContent = ` ${goes}`;
    reaches.push({ element, words, left, right });
  }
  board.reaches = { parent, reaches };
  // The drawing says all this in words; below the keys it would be read twice.
  parent.setAttribute('aria-hidden', 'true');
}

/** Places the words of all reaches: those without room in the gap of their line stand beside it; no two share a place. */
export function placeReaches() {
  for (const { reaches: drawing } of boards) {
    if (!drawing?.parent.clientWidth) continue;
    const lanes = [];
    for (const reach of drawing.reaches) placeReach(reach, drawing.parent.clientWidth, lanes);
    drawing.parent.style.setProperty('--lanes', lanes.length);
  }
}

function placeReach({ element, words, left, right }, wide, lanes) {
  const label = (100 * (words.offsetWidth + 6)) / wide;
  const place = right - left > label + 3 ? 'inside' : right + label < 100 ? 'behind' : 'before';
  element.classList.remove('inside', 'behind', 'before');
  element.classList.add(place);
  const from = place === 'before' ? left - label : left;
  const to = place === 'behind' ? right + label : right;
  let lane = lanes.findIndex((taken) => taken.every(([a, b]) => to <= a + 0.2 || from >= b - 0.2));
  if (lane < 0) lane = lanes.push([]) - 1;
  lanes[lane].push([from, to]);
  element.style.setProperty('--lane', lane);
}

/** Which inputs are connected: a keyboard that stays at home is not drawn. */
export function showBoards(inputs) {
  const connected = boards.filter(({ number }) => inputs[number]?.connected || !inputs[number]?.optional);
  for (const { box, number } of boards) {
    box.hidden = !(inputs[number]?.connected || !inputs[number]?.optional) && connected.length > 0;
  }
  KEYBOARD.dataset.count = Math.max(1, connected.length);
}

/** The keys that are down, and the notes that sound, as the program told them last. */
export function drawHand(hand) {
  for (const board of boards) {
    const now = new Set(hand?.down?.[board.number] ?? []);
    for (const note of board.down) if (!now.has(note)) lift(board, note);
    for (const note of now) if (!board.down.has(note)) press(board, note);
    board.down = now;
  }
  // They rise from the keyboard that is drawn uppermost.
  const board = boards.findLast(({ box }) => !box.hidden);
  if (board) drawFlags(board, hand?.notes ?? []);
}

function press(board, note) {
  const key = board.keys.get(note);
  if (!key) return;
  key.element.classList.add('down');
  const dot = make('i', key.black ? 'dot black' : 'dot', board.sheet);
  dot.style.left = `${key.middle}%`;
  board.marks.set(note, dot);
}

function lift(board, note) {
  board.keys.get(note)?.element.classList.remove('down');
  board.marks.get(note)?.remove();
  board.marks.delete(note);
}

function drawFlags(board, notes) {
  const wanted = new Map();
  for (const [output, channel, sounding] of notes) {
    for (const note of sounding) wanted.set(`${output}.${channel}.${note}`, [output, note]);
  }
  board.raised ??= new Map();
  for (const [name, flag] of board.raised) {
    if (!wanted.has(name)) {
      flag.remove();
      board.raised.delete(name);
    }
  }
  for (const [name, [output, note]] of wanted) {
    if (board.raised.has(name)) continue;
    const flag = make('i', 'flag', board.flags);
    flag.dataset.output = output % 3;
    const beyond = note < board.low || note > board.high;
    flag.classList.toggle('beyond', beyond);
    flag.style.left = `${board.keys.get(note)?.middle ?? (note < board.low ? 0 : 100)}%`;
    board.raised.set(name, flag);
  }
}
