// What is measured of a page: every box as the browser has laid it out.

/** What leaves the window, is cut off by its own box, or is broken inside a word. An ellipsis says what it leaves out. */
export const cutOff = (page) => page.evaluate(() => {
  const found = [];
  const open = document.querySelector('dialog[open]') ?? document.body;
  const walker = document.createTreeWalker(open, NodeFilter.SHOW_TEXT);
  const range = document.createRange();
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const element = node.parentElement;
    if (!node.textContent.trim() || element.closest('.unseen, svg, [hidden], select, .goes') || !element.checkVisibility({ visibilityProperty: true })) continue;
    if (element.closest('#stand') && document.querySelector('.zones-opened') && !element.closest('#zones')) continue; // lies below
    const name = `“${node.textContent.trim()}” (${element.id || element.className || element.localName})`;
    const shortened = element.closest('.short');
    const dialog = element.closest('dialog');
    const scrolls = dialog && dialog.scrollHeight > dialog.clientHeight;
    for (const { 0: word, index } of node.textContent.matchAll(/[^\s\-–—·/]+/gu)) {
      range.setStart(node, index);
      range.setEnd(node, index + word.length);
      const lines = new Set([...range.getClientRects()].filter(({ width }) => width > 0.5).map(({ top }) => Math.round(top)));
      if (lines.size > 1 && !shortened) found.push(`${name} is broken inside “${word}”`);
    }
    range.selectNodeContents(node);
    for (const box of range.getClientRects()) {
      if (shortened) continue;
      if (box.right > innerWidth + 1 || box.left < -1 || (!scrolls && (box.bottom > innerHeight + 1 || box.top < -1))) found.push(`${name} leaves the window`);
      // A letter's box is taller than its ink: a line height more may stand over.
      const size = parseFloat(getComputedStyle(element).fontSize);
      for (let parent = element; parent && parent !== open; parent = parent.parentElement) {
        const style = getComputedStyle(parent);
        const outer = parent.getBoundingClientRect();
        if (style.overflowX !== 'visible' && (box.left < outer.left - 1 || box.right > outer.right + 1)) found.push(`${name} is cut by ${parent.id || parent.className}`);
        if (style.overflowY === 'hidden' && (box.top < outer.top - size * 0.25 || box.bottom > outer.bottom + size * 0.25)) found.push(`${name} is cut in height by ${parent.id || parent.className}`);
      }
    }
  }
  return [...new Set(found)];
});

/**
 * Texts that lie over one another, or over a control that is not theirs. What says that the page is cut off takes the
 * place of the evening and the state, which are old then, and of nothing else.
 */
export const overlaps = (page) => page.evaluate(() => {
  if (document.querySelector('dialog[open], .zones-opened')) return [];
  const boxes = [];
  const stand = document.querySelector('#stand');
  const isCovered = (element) => !document.querySelector('#old').hidden && element.closest('#evening, #words');
  const walker = document.createTreeWalker(stand, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const element = node.parentElement;
    if (!node.textContent.trim() || element.closest('.unseen, svg, [hidden]') || isCovered(element) || !element.checkVisibility({ visibilityProperty: true })) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const bounds = element.closest('.short')?.getBoundingClientRect();
    for (let { left, right, top, bottom } of range.getClientRects()) {
      const shave = (bottom - top) * 0.24; // the ink of capitals, about
      [top, bottom] = [top + shave, bottom - shave];
      if (bounds) [left, right, top, bottom] = [Math.max(left, bounds.left), Math.min(right, bounds.right), Math.max(top, bounds.top), Math.min(bottom, bounds.bottom)];
      if (right > left && bottom > top) boxes.push({ left, right, top, bottom, text: `“${node.textContent.trim()}”`, element });
    }
  }
  for (const control of stand.querySelectorAll('button, .keys, #knots i, #old')) {
    if (control.closest('#piano') || isCovered(control) || !control.checkVisibility({ visibilityProperty: true })) continue;
    const { left, right, top, bottom } = control.getBoundingClientRect();
    boxes.push({ left, right, top, bottom, text: control.id || control.className, element: control });
  }
  const found = [];
  boxes.forEach((one, index) => boxes.slice(index + 1).forEach((two) => {
    if (one.element === two.element || one.element.contains(two.element) || two.element.contains(one.element)) return;
    const wide = Math.min(one.right, two.right) - Math.max(one.left, two.left);
    const high = Math.min(one.bottom, two.bottom) - Math.max(one.top, two.top);
    if (wide > 1 && high > 1) found.push(`${one.text} over ${two.text}`);
  }));
  return found;
});

/** Which of these are not wholly on the screen, or lie under something else. */
export const lost = (page, selectors) => page.evaluate((all) => all.filter((selector) => {
  const element = document.querySelector(selector);
  if (!element?.checkVisibility({ visibilityProperty: true })) return true;
  const { left, right, top, bottom } = element.getBoundingClientRect();
  if (left < -0.5 || top < -0.5 || right > innerWidth + 0.5 || bottom > innerHeight + 0.5 || right - left < 8 || bottom - top < 8) return true;
  const seen = document.elementFromPoint((left + right) / 2, (top + bottom) / 2);
  return !seen || !(element === seen || element.contains(seen) || seen.contains(element));
}), selectors);

/** The height of capitals in CSS pixels, as the browser's own font has them. */
export const capitals = (page, selector) => page.$eval(selector, (element) => {
  const style = getComputedStyle(element);
  const pen = document.createElement('canvas').getContext('2d');
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  return pen.measureText('H').actualBoundingBoxAscent;
});

/** How large a height in millimetres is seen from a distance in millimetres, in minutes of arc. */
export const minutesOfArc = (high, away) => (Math.atan(high / away) * 180 * 60) / Math.PI;
