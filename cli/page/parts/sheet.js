// The sheet: the whole ranch, or one site with all that is known about it.

const sheetBox = byId('sheet');
let cameFrom = null;

/** Lay out one block of the sheet. */
function blockOf(block, level = 'h3') {
  const parts = [];
  const cellWords = (value) => (typeof value === 'number' ? told(value) : value);
  if (block.kind === 'text') parts.push(...block.rows.map((row) => said('p', told(row))));
  if (block.kind === 'list' || block.kind === 'warn') {
    parts.push(
      make(
        'ul',
        { class: block.kind === 'warn' ? 'warn' : null },
        ...block.rows.map((row) => said('li', told(row))),
      ),
    );
  }
  if (block.kind === 'steps') parts.push(make('ol', {}, ...block.rows.map((row) => said('li', told(row)))));
  if (block.kind === 'pairs') {
    const rows = block.rows.flatMap(([name, text]) => [said('dt', told(name)), said('dd', told(text))]);
    parts.push(make('dl', { class: 'pairs' }, ...rows));
  }
  if (block.kind === 'table' || block.kind === 'sizes') parts.push(tableOf(block, cellWords));
  if (block.kind === 'checks') parts.push(make('ul', { class: 'checks' }, ...block.rows.map(checkOf)));
  for (const note of block.notes || []) parts.push(said('p', told(note), { class: 'note' }));
  if (block.fold) {
    return make(
      'details',
      { class: 'block' },
      make('summary', {}, make(level, {}, told(block.title))),
      ...parts,
    );
  }
  return make('section', { class: 'block' }, make(level, {}, told(block.title)), ...parts);
}

function tableOf(block, words) {
  const head = make('tr', {}, ...block.head.map((name) => make('th', { scope: 'col' }, words(name))));
  const rows = block.rows.map((row) => {
    const cells = row
      .slice(0, block.head.length)
      .map((value, i) => said(i ? 'td' : 'th', words(value), i ? null : { scope: 'row' }));
    // How a size came about stands below its name.
    if (row.length > cells.length && words(row[cells.length]))
      cells[0].append(said('small', words(row[cells.length])));
    return make('tr', {}, ...cells);
  });
  return make(
    'table',
    { class: `facts wide${block.head.length}` },
    make('thead', {}, head),
    make('tbody', {}, ...rows),
  );
}

/** One finding: its verdict, what it is about, the words, and where they come from. */
function checkOf([mark, subject, text, basis, source]) {
  const line = make('li', {});
  if (told(mark)) {
    const words = told(mark) === 'passed' ? 'limit passed' : told(mark);
    line.append(make('b', { class: `mark ${told(mark).replace(' ', '-')}` }, words));
  }
  const body = said('span', '', {});
  if (told(subject)) body.append(make('i', {}, `${told(subject)}: `));
  body.append(told(text));
  if (told(basis)) body.append(make('small', {}, ` (${told(basis)})`));
  if (source) body.append(make('small', {}, ` [${source}]`));
  line.append(body);
  return line;
}

function wordsBlock() {
  if (!DATA.words.length) return '';
  const rows = DATA.words.flatMap(([term, meaning]) => [make('dt', {}, term), make('dd', {}, meaning)]);
  return make(
    'details',
    { class: 'block' },
    make('summary', {}, make('h3', {}, 'Words explained')),
    make('dl', { class: 'pairs' }, ...rows),
  );
}

function showRanch() {
  const about = make('div', { class: 'sheethead' }, make('h2', { tabindex: -1 }, 'The whole ranch'));
  if (DATA.wholeTitle !== DATA.title) about.append(said('p', DATA.wholeTitle, { class: 'long' }));
  sheetBox.replaceChildren(about, ...DATA.ranch.map((block) => blockOf(block)), wordsBlock());
  sheetBox.classList.remove('one');
}

function showSite(site) {
  const close = make(
    'button',
    { type: 'button', class: 'plain', id: 'close', on: { click: closeSite } },
    'Close',
  );
  const go = (by, words) =>
    make(
      'button',
      {
        type: 'button',
        class: 'plain',
        on: {
          click: () => {
            const next = neighbour(by);
            if (next) openSite(next.id, { read: true });
          },
        },
      },
      words,
    );
  const title = make('h2', { tabindex: -1 }, sign(site.shape, { size: 26, unsure: site.unsure }));
  const what = site.what.slice(0, 1).toLocaleUpperCase() + site.what.slice(1);
  title.append(make('span', { class: 'rank-words' }, `${rankWords(site)} `), said('bdi', what));
  const head = make(
    'div',
    { class: 'sheethead' },
    make(
      'div',
      { class: 'bar' },
      make('span', { class: 'site-number' }, `Site ${site.id}`),
      go(-1, 'Previous rank'),
      go(1, 'Next rank'),
      close,
    ),
    title,
    make('p', { class: 'purpose' }, `${told(site.purpose)}.`),
  );
  const whole = told(site.whole);
  if (whole.length > site.what.length) head.append(said('p', whole, { class: 'long' }));
  if (DATA.budget && !site.chosen) head.append(make('p', { class: 'note' }, 'Not in the chosen set.'));
  const facts = make(
    'dl',
    { class: 'first' },
    ...site.facts.map(([name, value, note]) =>
      make(
        'div',
        {},
        make('dt', {}, told(name)),
        said('dd', told(value)),
        told(note) ? said('dd', told(note), { class: 'note' }) : null,
      ),
    ),
  );
  const work = workOf.get(site.id);
  const parts = [head, ...(work ? [workBlock(work, site)] : []), facts];
  if (!work && site.mates.length) parts.push(matesOf(site));
  parts.push(
    make(
      'section',
      { class: 'block' },
      make('h3', {}, 'Why here'),
      ...site.why.map((n) => said('p', told(n))),
    ),
  );
  if (site.cautions.length) {
    parts.push(
      make(
        'section',
        { class: 'block' },
        make('h3', {}, 'Take care'),
        make('ul', { class: 'warn' }, ...site.cautions.map((n) => said('li', told(n)))),
      ),
    );
  }
  const drawings = make('section', { class: 'block drawings' }, make('h3', {}, 'Drawn to scale'));
  if (site.profile || site.section) parts.push(drawings);
  const reasons = site.blocks.findIndex((block) => block.kind === 'checks');
  const blocks = site.blocks.map((block) => blockOf(block));
  if (reasons >= 0)
    blocks.splice(reasons, 0, make('h3', { class: 'parts' }, 'The reasoning, step by step'));
  parts.push(...blocks, wordsBlock(), phoneLink(site));
  sheetBox.replaceChildren(...parts);
  sheetBox.classList.add('one');
  sheetBox.scrollTop = 0;
  drawSketches(site);
}

/** What is told of the work of a site, and its sites in the order of building. */
function workBlock(work, site) {
  const rows = work.rows.flatMap(([name, text]) => [said('dt', told(name)), said('dd', told(text))]);
  const block = make(
    'section',
    { class: 'block work' },
    make('h3', {}, `Work ${work.id}: ${told(work.kind)}`),
    make('dl', { class: 'pairs' }, ...rows),
  );
  if (work.sites.length < 2) return block;
  const steps = work.sites.map((other, i) => {
    const words = `${i + 1}. Site ${other.id}: ${other.what}${other === site ? ', shown here' : ''}`;
    return make(
      'li',
      {},
      make(
        'button',
        {
          type: 'button',
          class: 'mate',
          'aria-current': other === site ? 'true' : null,
          on: { click: () => openSite(other.id, { read: true }) },
        },
        sign(other.shape, { unsure: other.unsure }),
        said('span', words),
      ),
    );
  });
  block.append(
    make('h4', {}, 'Its sites in the order of building'),
    make('ul', { class: 'steps' }, ...steps),
  );
  return block;
}

/** Drawings as wide as the sheet is; drawn anew when that changes. */
function drawSketches(site) {
  const box = sheetBox.querySelector('.drawings');
  if (!box) return;
  const wide = Math.max(Math.min(box.clientWidth, 720), 280);
  for (const old of box.querySelectorAll('figure')) old.remove();
  if (site.profile) box.append(profileFigure(site, wide));
  if (site.section) box.append(sectionFigure(site, wide));
}

function matesOf(site) {
  const go = (mate) => {
    const other = BY_ID.get(mate.site);
    return make(
      'li',
      {},
      make(
        'button',
        { type: 'button', class: 'mate', on: { click: () => openSite(mate.site, { read: true }) } },
        sign(other.shape, { unsure: other.unsure }),
        said('span', `Site ${mate.site}: ${told(mate.text)}`),
      ),
    );
  };
  return make(
    'section',
    { class: 'block mates' },
    make('h3', {}, 'Works together with'),
    make('ul', {}, ...site.mates.map(go)),
  );
}

function phoneLink(site) {
  const [lon, lat] = site.lonlat;
  if (lon === null || lat === null)
    return make('p', { class: 'note' }, 'The place is not known in degrees.');
  return make(
    'p',
    { class: 'note phone' },
    make('a', { href: `geo:${lat},${lon}` }, 'Open this place in the map of a phone'),
  );
}

/**
 * Choose a site.
 *
 * `from` is where the person was, to go back to on closing; `read` moves the reader into the sheet;
 * `stay` keeps the map where it has the keyboard.
 */
function openSite(id, { from = null, read = false, stay = false } = {}) {
  const site = BY_ID.get(id);
  if (!site) return;
  if (from) cameFrom = from;
  const over = narrow();
  unfold(id);
  setCurrent(rowOf.get(id));
  change({ chosen: id });
  showSite(site);
  document.body.classList.add('open');
  revealRow(id);
  if (over) {
    window.scrollTo(0, mapSvg.getBoundingClientRect().top + window.scrollY);
    centreOn(site.at, [view.wide / 2, Math.min(view.high, window.innerHeight * 0.38) / 2]);
  } else if (!comfortable(site)) centreOn(site.at);
  redraw();
  if (!stay && (read || over)) sheetBox.querySelector('h2').focus({ preventScroll: true });
}

/** Whether a site can be seen well inside the map as it lies. */
function comfortable(site) {
  const [x, y] = toScreen(site.at);
  return x > 50 && y > 125 && x < view.wide - 50 && y < view.high - 50;
}

function closeSite() {
  const was = state.chosen;
  change({ chosen: null });
  showRanch();
  document.body.classList.remove('open');
  redraw();
  const row = rowOf.get(was);
  const back = cameFrom && cameFrom.isConnected ? cameFrom : row;
  if (back && back.isConnected && back.getClientRects().length) back.focus({ preventScroll: !narrow() });
  cameFrom = null;
}
