// The set on paper as a browser prints it: one page a sheet, and letters as large as README says.

import { test, before, after } from 'node:test';
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { launch, OUT, ROOT } from './stand.mjs';

/** Millimetres in a pixel of CSS. */
const PIXEL = 25.4 / 96;
/** What can be written on, of A4, in millimetres. */
const WIDE = 210 - 2 * 10;
const HIGH = 297 - 2 * 10;

let folder;
let browser;
let page;

before(async () => {
  folder = mkdtempSync(path.join(tmpdir(), 'handspan-paper-'));
  const program = path.join(process.env.CARGO_TARGET_DIR ?? path.join(ROOT, 'target'), 'debug/handspan');
  execFileSync(program, ['print', path.join(ROOT, 'maps/midwinter.toml'), '--out', folder]);
  browser = await launch();
  page = await browser.newPage({ viewport: { width: Math.floor(WIDE / PIXEL), height: 1123 } });
  await page.goto(pathToFileURL(path.join(folder, 'midwinter.html')).href);
  await page.emulateMedia({ media: 'print' });
});

after(async () => {
  await browser?.close();
  rmSync(folder, { recursive: true, force: true });
});

test('capitals are as high as README says', async () => {
  // The height of a capital, drawn, in the font of an element.
  const capitals = (selector) =>
    page.evaluate((selector) => {
      const heights = [...document.querySelectorAll(selector)].map((element) => {
        const style = getComputedStyle(element);
        const pen = document.createElement('canvas').getContext('2d');
        pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
        return pen.measureText('H').actualBoundingBoxAscent;
      });
      return [Math.min(...heights), Math.max(...heights)];
    }, selector);
  for (const [selector, wanted] of [['h1', 9], ['h2', 9], ['.keys .first dd', 9], ['.chord b', 7], ['.chord .room', 3.8], ['td div', 2.4], ['dt', 2.2], ['th', 2.2], ['header p', 2.2]]) {
    for (const height of await capitals(selector)) {
      // A canvas counts in whole pixels at the edges of letters.
      assert.ok(Math.abs(height * PIXEL - wanted) < 0.3, `${selector}: ${(height * PIXEL).toFixed(2)} mm`);
    }
  }
});

test('every sheet is one page, no wider and no higher', async () => {
  const sheets = await page.$$eval('.sheet', (sheets) => sheets.map((sheet) => ({ title: sheet.querySelector('h1, h2').textContent, high: sheet.getBoundingClientRect().height, wide: sheet.scrollWidth })));
  assert.equal(sheets.length, 14);
  for (const { title, high, wide } of sheets) {
    assert.ok(high * PIXEL <= HIGH, `${title}: ${(high * PIXEL).toFixed(1)} mm high`);
    assert.ok(wide * PIXEL <= WIDE + 0.5, `${title}: ${(wide * PIXEL).toFixed(1)} mm wide`);
  }
  const pdf = await page.pdf({ preferCSSPageSize: true, path: path.join(OUT, 'printed.pdf') });
  assert.equal(pdf.toString('latin1').match(/\/Type\s*\/Page\b/g).length, 14);
});

test('nothing is cut off and nothing overlaps', async () => {
  const found = await page.evaluate(() => {
    const faults = [];
    for (const sheet of document.querySelectorAll('.sheet')) {
      const boxes = [];
      const walker = document.createTreeWalker(sheet, NodeFilter.SHOW_TEXT);
      for (let node = walker.nextNode(); node; node = walker.nextNode()) {
        if (!node.textContent.trim() || node.parentElement.closest('title')) continue;
        const range = document.createRange();
        range.selectNodeContents(node);
        for (const box of range.getClientRects()) if (box.width) boxes.push({ words: node.textContent, element: node.parentElement, box });
      }
      const edge = sheet.getBoundingClientRect();
      for (const [place, { words, element, box }] of boxes.entries()) {
        if (box.left < edge.left - 1 || box.right > edge.right + 1) faults.push(`${words} leaves its sheet`);
        // Lines of large letters stand close: what counts is the middle of a line.
        const middle = (other) => [other.top + 0.3 * other.height, other.bottom - 0.3 * other.height];
        for (const other of boxes.slice(0, place)) {
          if (other.element === element) continue;
          const [top, bottom] = middle(box);
          const [otherTop, otherBottom] = middle(other.box);
          if (box.left + 1.5 < other.box.right && other.box.left + 1.5 < box.right && top < otherBottom && otherTop < bottom) faults.push(`${words} over ${other.words}`);
        }
      }
      for (const element of sheet.querySelectorAll('th, td, h1, h2, h3, dd, p, li')) {
        if (element.scrollWidth > element.clientWidth + 1 && element.clientWidth) faults.push(`${element.textContent} is cut off`);
      }
    }
    return faults;
  });
  assert.deepEqual(found, []);
});
