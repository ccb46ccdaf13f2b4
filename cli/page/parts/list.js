// The list: works with their sites inside, sorted by its headings, filtered by purpose, structure and
// words, and walked by arrows. A plan that ranks no works lists its sites.

const SITE_COLUMNS = [
  { key: 'rank', label: 'Rank', value: (s) => s.rank, number: true },
  { key: 'what', label: 'What to build', value: (s) => s.what },
  { key: 'id', label: 'Site', value: (s) => s.id, number: true, extra: true },
  { key: 'drop', label: 'Drop', number: true },
  { key: 'area', label: 'Land', number: true },
  { key: 'flow', label: 'Flood', number: true, extra: true },
  { key: 'cost', label: 'Cost', number: true },
  { key: 'sure', label: 'Sure', number: true, extra: true },
];
const WORK_COLUMNS = [
  { key: 'rank', label: 'Rank', value: (w) => w.rank, number: true },
  { key: 'what', label: 'Work', value: (w) => w.what },
  { key: 'saved', label: 'Saves', number: true },
  { key: 'lost', label: 'Lost', number: true, extra: true },
  { key: 'holds', label: 'Holds', number: true, extra: true },
  { key: 'cost', label: 'Cost', number: true },
  { key: 'days', label: 'Days', number: true, extra: true },
];
const COLUMNS = ranksWorks ? WORK_COLUMNS : SITE_COLUMNS;
/** What the list ranks, and what waits below it. */
const RANKED = ranksWorks ? WORKS : SITES;
const WAITING = ranksWorks ? SITES.filter((site) => site.waits) : [];
const sitesOf = (entry) => entry.sites || [entry];
const order = { key: 'rank', down: false };
const sieve = { controls: new Set(), what: '', word: '', found: new Set(), chosenOnly: false };
const unfolded = new Set();
const rowOf = new Map(); // row of a site; that of its work where it is the only one
const rowsOf = new Map(); // rows of what is listed, its own first
let current = null;

/** Classes of a column's cells: some are left out where the page is narrow. */
const kindOf = (column) =>
  [column.number ? 'number' : '', column.extra ? 'extra' : '', column.key].join(' ').trim();
const valueOf = (column, entry) => (column.value ? column.value(entry) : entry.numbers[column.key]);
const wordsOf = (column, entry) =>
  column.value ? String(column.value(entry)) : entry.words[column.key];

/** Numbers of all texts that are written about a site; gathered when they are first needed. */
const written = new Map();
function textsOf(site) {
  if (!written.has(site.id)) {
    const numbers = new Set([site.whole, site.purpose]);
    const gather = (value) => {
      if (Array.isArray(value)) value.forEach(gather);
      else numbers.add(value);
    };
    gather([site.why, site.cautions, site.facts]);
    if (workOf.has(site.id)) gather([workOf.get(site.id).kind, workOf.get(site.id).rows]);
    if (site.waits && site.waits.reason !== null) gather(site.waits.reason);
    for (const block of site.blocks) {
      // The last value of a finding is the number of its source, not of a text.
      gather(block.kind === 'checks' ? block.rows.map((row) => row.slice(0, -1)) : block.rows);
    }
    written.set(site.id, numbers);
  }
  return written.get(site.id);
}

/** Look a word up once in all texts; the sites then only compare numbers. */
function setWord(word) {
  sieve.word = word;
  sieve.found = new Set();
  if (word)
    DATA.texts.forEach((text, i) => {
      if (text.toLocaleLowerCase().includes(word)) sieve.found.add(i);
    });
}

function hasWord(site) {
  if (`site ${site.id} ${rankWords(site)}`.toLocaleLowerCase().includes(sieve.word)) return true;
  for (const number of textsOf(site)) if (sieve.found.has(number)) return true;
  return false;
}

function passes(site) {
  if (sieve.controls.size && !sieve.controls.has(site.control)) return false;
  if (sieve.what && site.what !== sieve.what) return false;
  if (sieve.chosenOnly && !site.chosen) return false;
  return !sieve.word || hasWord(site);
}

/** What is listed in the order asked for; what has no value comes last either way. */
function sorted(entries) {
  const column = COLUMNS.find((one) => one.key === order.key);
  const sense = order.down ? -1 : 1;
  return [...entries].sort((a, b) => {
    const [x, y] = [valueOf(column, a), valueOf(column, b)];
    if (x === null || y === null) return (x === null) - (y === null) || a.rank - b.rank;
    const first = column.number ? x - y : String(x).localeCompare(String(y));
    return sense * first || a.rank - b.rank;
  });
}

function buildList() {
  byId('heads').append(
    ...COLUMNS.map((column) => {
      const sort = make(
        'button',
        { type: 'button', on: { click: () => sortBy(column.key) } },
        make('span', {}, column.label),
        make('span', { class: 'way', 'aria-hidden': 'true' }),
      );
      return make('th', { scope: 'col', 'data-key': column.key, class: kindOf(column) }, sort);
    }),
  );
  for (const entry of RANKED) rowsOf.set(entry, rowsFor(entry));
  for (const site of WAITING) rowsOf.set(site, [waitingRow(site)]);
  buildWaiting();
  buildSieve();
  byId('rows').addEventListener('keydown', keysInList);
  watch((before) => {
    if (before.chosen !== state.chosen || before.pointed !== state.pointed) paintRows();
  });
  showList();
}

/** Row of a work or of a site alone; below the first those of the sites of a work of several. */
function rowsFor(entry) {
  const sites = sitesOf(entry);
  const several = sites.length > 1;
  const lead = sites.at(-1);
  const cells = COLUMNS.map((column) => {
    const cell = make('td', { class: kindOf(column) });
    if (column.key !== 'what') cell.append(wordsOf(column, entry));
    else whatCell(cell, lead, entry.what, entry.chosen, entry.functions === false);
    return cell;
  });
  if (several) cells[1].append(foldButton(entry));
  const row = rowWith(cells, sites[0], lead);
  if (several) row.dataset.work = entry.id;
  else {
    row.dataset.site = sites[0].id;
    rowOf.set(sites[0].id, row);
    return [row];
  }
  row.setAttribute('aria-expanded', 'false');
  return [row, ...sites.map((site, i) => innerRow(entry, site, i + 1))];
}

function whatCell(cell, site, name, chosen, idle) {
  const kindWords = (DATA.shapes[site.shape] || DATA.shapes.refer).label;
  const more = chosen || !DATA.budget ? '' : ', not in the chosen set';
  cell.append(sign(site.shape, { unsure: site.unsure }), said('span', name, { class: 'name' }));
  cell.append(make('span', { class: 'unseen' }, ` ${kindWords}${more}`));
  if (idle) cell.append(make('small', {}, 'cannot work as it stands'));
}

/** Row of a site inside a work; numbered as it is built. */
function innerRow(work, site, number) {
  const cells = COLUMNS.map((column) => {
    const cell = make('td', { class: kindOf(column) });
    if (column.key === 'rank') cell.append(`${work.rank}.${number}`);
    if (column.key === 'what') whatCell(cell, site, `site ${site.id}: ${site.what}`, site.chosen);
    if (column.key === 'cost') cell.append(site.words.cost);
    return cell;
  });
  const row = rowWith(cells, site, site);
  row.dataset.site = site.id;
  row.classList.add('inner');
  row.hidden = true;
  rowOf.set(site.id, row);
  return row;
}

/** A row that opens a site and points at a sign of the map. */
function rowWith(cells, site, lead) {
  const row = make(
    'tr',
    {
      tabindex: -1,
      'aria-selected': 'false',
      on: {
        click: () => openSite(site.id, { from: row }),
        pointerenter: () => change({ pointed: lead.id }),
        pointerleave: () => change({ pointed: null }),
        focus: () => {
          setCurrent(row);
          change({ pointed: lead.id });
        },
        blur: () => change({ pointed: null }),
      },
    },
    ...cells,
  );
  return row;
}

function foldButton(work) {
  return make(
    'button',
    {
      type: 'button',
      class: 'fold',
      tabindex: -1,
      'aria-label': `Sites of rank ${work.rank}`,
      on: {
        click: (event) => {
          event.stopPropagation();
          fold(work, !unfolded.has(work.id));
        },
      },
    },
    `${work.sites.length} sites`,
  );
}

/** Show or hide the sites of a work. */
function fold(work, open) {
  if (!work || sitesOf(work).length < 2) return;
  if (open) unfolded.add(work.id);
  else unfolded.delete(work.id);
  const [own, ...inner] = rowsOf.get(work);
  own.setAttribute('aria-expanded', String(open));
  for (const row of inner) row.hidden = !open;
}

const unfold = (id) => fold(workOf.get(id), true);

/** The list of what hands do not build, most at risk first. */
function buildWaiting() {
  byId('waiting-heads').append(
    ...['', 'Site', 'At risk', 'Lost'].map((name, i) =>
      make('th', { scope: 'col', class: i > 1 ? 'number' : null }, make('span', {}, name)),
    ),
  );
  byId('waiting-body').append(...WAITING.flatMap((site) => rowsOf.get(site)));
  if (WAITING.some((site) => site.waits.risk === null))
    byId('waits-title').textContent = 'Not built: on hold, or for an engineer';
}

function waitingRow(site) {
  const what = make('td', { class: 'what' });
  whatCell(what, site, `site ${site.id}`, true);
  if (site.waits.reason !== null) what.append(said('small', told(site.waits.reason)));
  const cells = [
    make('td', { class: 'rank number' }, site.waits.mark),
    what,
    ...site.waits.words.map((words) => make('td', { class: 'number' }, words)),
  ];
  const row = rowWith(cells, site, site);
  row.dataset.site = site.id;
  rowOf.set(site.id, row);
  return row;
}

function buildSieve() {
  const known = ['vertical', 'grade', 'spread', 'refer'];
  const kinds = [...new Set([...known, ...SITES.map((s) => s.control)])].filter((kind) =>
    SITES.some((s) => s.control === kind),
  );
  byId('kinds').append(
    ...kinds.map((kind) => {
      const count = SITES.filter((s) => s.control === kind).length;
      const label = DATA.shapes[kind] ? DATA.shapes[kind].label.replace(/ \(.*/, '') : kind;
      return make(
        'button',
        {
          type: 'button',
          class: 'kind',
          'data-kind': kind,
          'aria-pressed': 'false',
          on: { click: () => toggleKind(kind) },
        },
        sign(kind),
        make('span', {}, `${label} `),
        make('b', {}, String(count)),
      );
    }),
  );
  const names = [...new Set(SITES.map((s) => s.what))].sort((a, b) => a.localeCompare(b));
  byId('which').append(
    make('option', { value: '' }, 'Everything'),
    ...names.map((n) => said('option', n, { value: n })),
  );
  byId('sort').append(...COLUMNS.map((c) => make('option', { value: c.key }, c.label)));
  byId('sort').addEventListener('change', (event) => {
    order.key = '';
    sortBy(event.target.value);
  });
  byId('chosen-box').hidden = !DATA.budget;
  byId('which').addEventListener('change', (event) => {
    sieve.what = event.target.value;
    showList();
  });
  byId('word').addEventListener('input', (event) => {
    setWord(event.target.value.trim().toLocaleLowerCase());
    showList();
  });
  byId('chosen').addEventListener('change', (event) => {
    sieve.chosenOnly = event.target.checked;
    showList();
  });
  byId('sieve').addEventListener('submit', (event) => event.preventDefault());
  byId('clear').addEventListener('click', clearSieve);
}

function toggleKind(kind) {
  if (!sieve.controls.delete(kind)) sieve.controls.add(kind);
  showList();
}

function clearSieve() {
  Object.assign(sieve, { controls: new Set(), what: '', chosenOnly: false });
  setWord('');
  byId('which').value = '';
  byId('word').value = '';
  byId('chosen').checked = false;
  showList();
  byId('word').focus();
}

function sortBy(key) {
  order.down = order.key === key && !order.down;
  order.key = key;
  showList();
}

/** Put the rows that pass into the tables, in order, and tell the map which sites are shown. */
function showList() {
  const through = (entry) => sitesOf(entry).some(passes);
  const ranked = sorted(RANKED.filter(through));
  const waits = WAITING.filter(through);
  byId('body').replaceChildren(...ranked.flatMap((entry) => rowsOf.get(entry)));
  byId('waiting-body').replaceChildren(...waits.flatMap((site) => rowsOf.get(site)));
  byId('waits').hidden = !waits.length;
  byId('sort').value = order.key;
  for (const head of byId('heads').children) {
    const mine = head.dataset.key === order.key;
    head.setAttribute('aria-sort', mine ? (order.down ? 'descending' : 'ascending') : 'none');
  }
  for (const button of byId('kinds').children) {
    button.setAttribute('aria-pressed', String(sieve.controls.has(button.dataset.kind)));
  }
  const shown = [...ranked, ...waits].flatMap(sitesOf);
  const all = ranked.length === RANKED.length && waits.length === WAITING.length;
  byId('count').textContent = countWords(ranked.length, waits.length);
  byId('sums').textContent = `${DATA.sums.join('; ')}. Sums are rounded once, not added up from the rows as shown.`;
  byId('sums').hidden = !DATA.sums.length || !all;
  byId('clear').hidden = all && !sieve.controls.size;
  byId('nothing').hidden = shown.length > 0;
  byId('table').hidden = !ranked.length;
  byId('nothing').textContent = SITES.length
    ? 'Nothing passes these filters. Show all brings them back.'
    : 'This plan has no sites: nothing was found that a small hand-built structure would help.';
  const rows = rowsInSight();
  if (!rows.includes(current)) setCurrent(rows.length ? rows[0] : null);
  change({ shown });
}

/** How many are shown: ``3 of 34 works, 2 of 15 not built``. */
function countWords(ranked, waits) {
  const of = (some, all, one, many) =>
    `${some === all ? '' : `${some} of `}${all} ${all === 1 ? one : many}`;
  if (!ranksWorks) return of(ranked, RANKED.length, 'site', 'sites');
  const parts = [of(ranked, RANKED.length, 'work', 'works')];
  if (WAITING.length) parts.push(of(waits, WAITING.length, 'site not built', 'sites not built'));
  return parts.join(', ');
}

const rowsInSight = () =>
  [...byId('body').children, ...byId('waiting-body').children].filter((row) => !row.hidden);

/** The one row that the tab key stops at. */
function setCurrent(row) {
  if (current) current.tabIndex = -1;
  current = row || null;
  if (current) current.tabIndex = 0;
}

function paintRows() {
  const work = workOf.get(state.pointed);
  for (const [id, row] of rowOf) {
    row.setAttribute('aria-selected', String(id === state.chosen));
    row.classList.toggle('pointed', id === state.pointed);
  }
  for (const one of WORKS) rowsOf.get(one)[0].classList.toggle('pointed', one === work);
}

/** Bring a row into sight within the list, without moving the page. */
function revealRow(id) {
  const row = rowOf.get(id);
  const frame = byId('rows');
  if (!row || !row.isConnected || frame.scrollHeight <= frame.clientHeight + 1) return;
  const [a, b] = [row.getBoundingClientRect(), frame.getBoundingClientRect()];
  const head = byId('heads').offsetHeight;
  if (a.top < b.top + head) frame.scrollTop -= b.top + head - a.top;
  else if (a.bottom > b.bottom) frame.scrollTop += a.bottom - b.bottom;
}

function keysInList(event) {
  const rows = rowsInSight();
  const row = event.target.closest('tbody tr');
  const at = rows.indexOf(row);
  if (at < 0) return;
  const moves = {
    ArrowDown: at + 1,
    ArrowUp: at - 1,
    Home: 0,
    End: rows.length - 1,
    PageDown: at + 8,
    PageUp: at - 8,
  };
  const work = WORKS.find((one) => String(one.id) === row.dataset.work);
  if (event.key in moves) rows[Math.min(Math.max(moves[event.key], 0), rows.length - 1)].focus();
  else if (event.key === 'ArrowRight' && work) fold(work, true);
  else if (event.key === 'ArrowLeft' && work) fold(work, false);
  else if (event.key === 'Enter' || event.key === ' ')
    openSite(work ? work.sites[0].id : Number(row.dataset.site), { from: row, read: true });
  else return;
  event.preventDefault();
}
