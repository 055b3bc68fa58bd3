// Looks at every page in a folder in a real browser: node look.mjs FOLDER [SCREENSHOTS]
//
// For each page: nothing on the console, nothing asked from the net, nothing wider than a phone, a
// tablet or a sheet of paper, no finding of the accessibility checker in light and dark, exactly one
// page on A4 and on Letter. First the looks themselves are tried on pages that are wrong.
import { createRequire } from 'node:module';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';
import { chromium } from 'playwright-core';

const WIDTHS = { phone: 320, 'wide phone': 412, tablet: 768, 'A4 paper': 794, screen: 1280 };
const checker = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

const browserPath = [process.env.CHROMIUM, '/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome']
  .find((path) => path && existsSync(path));
if (!browserPath) {
  console.error('no Chromium: `.ci/need chromium` installs it, CHROMIUM=PATH names one');
  process.exit(2);
}

// What is wrong with a page, a sentence each.
async function look(context, path, shots) {
  const wrong = [];
  const page = await context.newPage();
  const url = pathToFileURL(path).href;
  page.on('console', (message) => wrong.push(`console: ${message.text()}`));
  page.on('pageerror', (error) => wrong.push(`error: ${error.message}`));
  page.on('dialog', (dialog) => { wrong.push(`dialog: ${dialog.message()}`); dialog.dismiss(); });
  page.on('request', (request) => {
    if (request.url() !== url && !request.url().startsWith('data:')) wrong.push(`asks for ${request.url()}`);
  });
  await page.goto(url);
  for (const [name, width] of Object.entries(WIDTHS)) {
    await page.setViewportSize({ width, height: 900 });
    const over = await page.evaluate(() => {
      const edge = document.documentElement.clientWidth;
      const wide = [...document.body.querySelectorAll('*')].filter((e) => e.getBoundingClientRect().right > edge + 0.5);
      const cut = [...document.body.querySelectorAll('td, th, dd, li, p, h1')].filter((e) => e.scrollWidth > e.clientWidth + 1);
      return document.documentElement.scrollWidth > edge
        ? ['the page itself']
        : [...new Set([...wide, ...cut].map((e) => e.tagName.toLowerCase()))];
    });
    if (over.length) wrong.push(`too wide for a ${name} (${width} px): ${over.join(', ')}`);
  }
  for (const colorScheme of ['light', 'dark']) {
    await page.emulateMedia({ colorScheme });
    for (const name of ['phone', 'screen']) {
      await page.setViewportSize({ width: WIDTHS[name], height: 900 });
      await page.evaluate(checker);
      const { violations, passes } = await page.evaluate(() => globalThis.axe.run(document, {
        runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
      }));
      if (!passes.some((rule) => rule.id === 'color-contrast')) wrong.push('the contrast was not looked at');
      for (const { id, nodes } of violations) wrong.push(`${id} (${colorScheme}, ${name}): ${nodes[0].html}`);
      if (shots) await page.screenshot({ path: join(shots, `${basename(path)}.${name}.${colorScheme}.png`), fullPage: true });
    }
  }
  await page.emulateMedia({ colorScheme: 'dark' });
  for (const format of ['A4', 'Letter']) {
    const pdf = await page.pdf({ format, preferCSSPageSize: true });
    const pages = pdf.toString('latin1').match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
    if (pages !== 1) wrong.push(`${pages} pages of ${format}`);
    if (shots) writeFileSync(join(shots, `${basename(path)}.${format}.pdf`), pdf);
  }
  await page.close();
  return wrong;
}

// Pages that are wrong in one way each, and a word of the complaint that has to come.
const WRONG = {
  console: ['<script>console.log("x")</script>', 'console: x'],
  error: ['<script>throw Error("x")</script>', 'error: x'],
  net: ['<img alt="x" src="other.png">', 'asks for '],
  wide: ['<p style="width: 500px">x</p>', 'too wide for a phone'],
  cut: ['<p style="width: 50px; overflow: hidden; white-space: nowrap">a long line of text</p>', 'too wide for a phone (320 px): p'],
  alternative: ['<img src="data:image/gif;base64,R0lGODlhAQABAIAAAAAAAP///yH5BAEAAAAALAAAAAABAAEAAAIBRAA7">', 'image-alt'],
  contrast: ['<p style="color: #999; background: #fff">pale grey words</p>', 'color-contrast (light'],
  long: ['<p style="height: 400mm">x</p>', '2 pages of A4'],
};

async function triedOnWrongPages(context) {
  const folder = mkdtempSync(join(tmpdir(), 'wrong-pages-'));
  const missed = [];
  for (const [name, [body, complaint]] of Object.entries(WRONG)) {
    const path = join(folder, `${name}.html`);
    writeFileSync(path, `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>x</title>
      <meta name="viewport" content="width=device-width"></head><body><main><h1>x</h1>${body}</main></body></html>`);
    const wrong = await look(context, path);
    if (!wrong.some((sentence) => sentence.includes(complaint))) missed.push(`${name}: nobody complains of "${complaint}": ${wrong}`);
  }
  rmSync(folder, { recursive: true });
  return missed;
}

const folder = resolve(process.argv[2] ?? '.');
const shots = process.argv[3] && resolve(process.argv[3]);
if (shots) mkdirSync(shots, { recursive: true });
const pages = readdirSync(folder).filter((name) => name.endsWith('.html')).sort();
const profile = mkdtempSync(join(tmpdir(), 'browser-'));
const context = await chromium.launchPersistentContext(profile, {
  executablePath: browserPath,
  headless: true,
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
    '--disable-component-update', '--disable-sync'],
});
let failed = 0;
const report = (name, wrong) => {
  if (wrong.length) failed += 1;
  console.log(`${wrong.length ? 'FAILED' : 'ok    '} ${name}`);
  wrong.forEach((sentence) => console.log(`         ${sentence}`));
};
try {
  report('the looks themselves, on pages that are wrong', await triedOnWrongPages(context));
  for (const name of pages) report(name, await look(context, join(folder, name), shots));
  if (pages.length === 0) report('pages', [`no page in ${folder}`]);
} finally {
  await context.close();
  rmSync(profile, { recursive: true, force: true });
}
console.log(`${pages.length + 1 - failed} passed, ${failed} failed`);
process.exitCode = failed ? 1 : 0;
