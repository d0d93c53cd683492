// Keys, chords and notes as they are written on a stand.

const SHARP = ['C', 'C♯', 'D', 'D♯', 'E', 'F', 'F♯', 'G', 'G♯', 'A', 'A♯', 'B'];
const FLAT = ['C', 'D♭', 'D', 'E♭', 'E', 'F', 'G♭', 'G', 'A♭', 'A', 'B♭', 'B'];
const FLAT_KEYS = new Set(['F', 'Bb', 'Eb', 'Ab', 'Db', 'Gb', 'Cb', 'Dm', 'Gm', 'Cm', 'Fm', 'Bbm', 'Ebm', 'Abm']);

/** "Eb" as "E♭". */
export const pretty = (name) => (name || '').replace(/([A-G])b/g, '$1♭').replace(/([A-G])#/g, '$1♯');

/** A note's name in a key, C4 = 60. */
export function noteName(note, key) {
  const names = FLAT_KEYS.has(key) ? FLAT : SHARP;
  return names[note % 12] + (Math.floor(note / 12) - 1);
}

/** Semitones with their sign: "+5", "−2", "±0". */
export const signed = (number) => (number > 0 ? `+${number}` : number < 0 ? `−${-number}` : '±0');

/**
 * A key or chord, set so that its letter is the largest: accidental, kind and bass are smaller, and the whole name
 * stays text that can be read aloud.
 */
export function setName(element, name) {
  if (element.dataset.name === (name || '')) return false;
  element.dataset.name = name || '';
  element.replaceChildren();
  for (const [, letter, accidental, kind, bass] of (name || '').matchAll(/^([A-G])([#b]?)([^/]*)(\/.+)?$/g)) {
    element.append(letter);
    for (const [part, text] of [['accidental', pretty(letter + accidental).slice(1)], ['kind', kind], ['bass', pretty(bass)]]) {
      if (!text) continue;
      const span = document.createElement('span');
      span.className = part;
      span.textContent = text;
      element.append(span);
    }
    return true;
  }
  element.textContent = name || '';
  return true;
}
