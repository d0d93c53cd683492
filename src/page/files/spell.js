// Names of keys, chords and notes, set as on a stand. The program spells them; here they only get their signs.

/** "Eb" as "E♭". */
export const pretty = (name) => (name || '').replace(/([A-G])b/g, '$1♭').replace(/([A-G])#/g, '$1♯');

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
