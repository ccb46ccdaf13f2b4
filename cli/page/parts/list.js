// The list: sorted by its headings, filtered by purpose, structure and words, and walked by arrows.

const COLUMNS = [
  { key: 'rank', label: 'Rank', value: (s) => s.place, words: placeSign, number: true },
  { key: 'what', label: 'What to build', value: (s) => s.what },
  { key: 'id', label: 'Site', value: (s) => s.id, number: true, extra: true },
  { key: 'drop', label: 'Drop', number: true },
  { key: 'area', label: 'Land', number: true },
  { key: 'flow', label: 'Flood', number: true, extra: true },
  { key: 'cost', label: 'Cost', number: true },
  { key: 'sure', label: 'Sure', number: true, extra: true },
];
const order = { key: 'rank', down: false };
const sieve = { controls: new Set(), what: '', word: '', found: new Set(), chosenOnly: false };
const rowOf = new Map();
let current = null;

/** Classes of a column's cells: some are left out where the page is narrow. */
const kindOf = (column) =>
  [column.number ? 'number' : '', column.extra ? 'extra' : '', column.key].join(' ').trim();
const valueOf = (column, site) => (column.value ? column.value(site) : site.numbers[column.key]);
const wordsOf = (column, site) =>
  column.words ? column.words(site) : (column.value ? String(column.value(site)) : site.words[column.key]);

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
  if (`site ${site.id} rank ${site.rank}`.includes(sieve.word)) return true;
  for (const number of textsOf(site)) if (sieve.found.has(number)) return true;
  return false;
}

function passes(site) {
  if (sieve.controls.size && !sieve.controls.has(site.control)) return false;
  if (sieve.what && site.what !== sieve.what) return false;
  if (sieve.chosenOnly && !site.chosen) return false;
  return !sieve.word || hasWord(site);
}

/** Sites in the order asked for; those without a value come last either way. */
function sorted(sites) {
  const column = COLUMNS.find((one) => one.key === order.key);
  const sense = order.down ? -1 : 1;
  return [...sites].sort((a, b) => {
    const [x, y] = [valueOf(column, a), valueOf(column, b)];
    if (x === null || y === null) return (x === null) - (y === null) || a.place - b.place;
    const first = column.number ? x - y : String(x).localeCompare(String(y));
    return sense * first || a.place - b.place;
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
  for (const site of SITES) rowOf.set(site.id, rowFor(site));
  buildSieve();
  byId('body').addEventListener('keydown', keysInList);
  watch((before) => {
    if (before.chosen !== state.chosen || before.pointed !== state.pointed) paintRows();
  });
  showList();
}

function rowFor(site) {
  const cells = COLUMNS.map((column) => {
    const cell = make('td', { class: kindOf(column) });
    if (column.key === 'what') {
      const kindWords = (DATA.shapes[site.shape] || DATA.shapes.refer).label;
      cell.append(sign(site.shape, { unsure: site.unsure }), said('span', site.what, { class: 'name' }));
      cell.append(
        make(
          'span',
          { class: 'unseen' },
          ` ${kindWords}${site.chosen || !DATA.budget ? '' : ', not in the chosen set'}`,
        ),
      );
    } else cell.append(wordsOf(column, site));
    return cell;
  });
  return make(
    'tr',
    {
      tabindex: -1,
      'data-site': site.id,
      'aria-selected': 'false',
      on: {
        click: () => openSite(site.id, { from: rowOf.get(site.id) }),
        pointerenter: () => change({ pointed: site.id }),
        pointerleave: () => change({ pointed: null }),
        focus: () => {
          setCurrent(site.id);
          change({ pointed: site.id });
        },
        blur: () => change({ pointed: null }),
      },
    },
    ...cells,
  );
}

function buildSieve() {
  const kinds = ['hold', 'vertical', 'grade', 'spread', 'refer'].filter((k) => SITES.some((s) => s.control === k));
  byId('kinds').append(
    ...kinds.map((kind) => {
      const count = SITES.filter((s) => s.control === kind).length;
      const label = DATA.shapes[kind].label.replace(/ \(.*/, '');
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

/** Put the rows that pass into the table, in order, and tell the map which sites are shown. */
function showList() {
  const shown = sorted(SITES.filter(passes));
  byId('body').replaceChildren(...shown.map((site) => rowOf.get(site.id)));
  byId('sort').value = order.key;
  for (const head of byId('heads').children) {
    const mine = head.dataset.key === order.key;
    head.setAttribute('aria-sort', mine ? (order.down ? 'descending' : 'ascending') : 'none');
  }
  for (const button of byId('kinds').children) {
    button.setAttribute('aria-pressed', String(sieve.controls.has(button.dataset.kind)));
  }
  const all = shown.length === SITES.length;
  byId('count').textContent = all ? `${SITES.length} sites` : `${shown.length} of ${SITES.length} sites`;
  byId('clear').hidden = all && !sieve.controls.size;
  byId('nothing').hidden = shown.length > 0;
  byId('table').hidden = !shown.length;
  byId('nothing').textContent = SITES.length
    ? 'No site passes these filters. Show all brings them back.'
    : 'This plan has no sites: nothing was found that a small hand-built structure would help.';
  if (!shown.some((site) => site.id === current)) setCurrent(shown.length ? shown[0].id : null);
  change({ shown });
}

/** The one row that the tab key stops at. */
function setCurrent(id) {
  if (rowOf.has(current)) rowOf.get(current).tabIndex = -1;
  current = id;
  if (rowOf.has(id)) rowOf.get(id).tabIndex = 0;
}

function paintRows() {
  for (const [id, row] of rowOf) {
    row.setAttribute('aria-selected', String(id === state.chosen));
    row.classList.toggle('pointed', id === state.pointed);
  }
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
  const rows = [...byId('body').children];
  const at = rows.indexOf(event.target.closest('tr'));
  const moves = {
    ArrowDown: at + 1,
    ArrowUp: at - 1,
    Home: 0,
    End: rows.length - 1,
    PageDown: at + 8,
    PageUp: at - 8,
  };
  if (event.key in moves) rows[Math.min(Math.max(moves[event.key], 0), rows.length - 1)].focus();
  else if (event.key === 'Enter' || event.key === ' ')
    openSite(Number(rows[at].dataset.site), { from: rows[at], read: true });
  else return;
  event.preventDefault();
}
