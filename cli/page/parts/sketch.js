// Profile and section of a site, to scale: ground, what is built, and the water of the design flood.

/** Heights may be drawn this many times larger than distances; the drawing says which it is. */
const LARGER = [1, 1.5, 2, 3, 4, 5, 8, 10];
let sketchCount = 0;

/** Ticks at round values within two ends. */
function ticks(low, high, wanted) {
  const raw = (high - low) / wanted;
  const power = 10 ** Math.floor(Math.log10(raw));
  const pace = [1, 2, 5, 10].map((m) => m * power).find((v) => v >= raw);
  const found = [];
  for (let i = Math.ceil(low / pace - 1e-9); i * pace <= high + 1e-9; i += 1) found.push(i * pace);
  return { found, digits: Math.max(0, -Math.floor(Math.log10(pace) + 1e-9)) };
}

/** Height of a line of points at a distance. */
function heightAt(x, xs, zs) {
  if (x <= xs[0]) return zs[0];
  for (let i = 1; i < xs.length; i += 1) {
    if (x <= xs[i]) return zs[i - 1] + ((x - xs[i - 1]) / (xs[i] - xs[i - 1] || 1)) * (zs[i] - zs[i - 1]);
  }
  return zs[zs.length - 1];
}

/** Paper of a drawing: how metres become pixels. Heights are never drawn smaller than distances. */
function paper(wide, heights, xs, labels) {
  const [low, high] = [Math.min(...heights), Math.max(...heights)];
  const room = Math.max(high - low, 0.3);
  const plot = wide - SIDE.left - SIDE.right;
  const across = plot / (xs[xs.length - 1] - xs[0]);
  const larger = [...LARGER].reverse().find((m) => across * m * room * 1.25 <= 170) || 1;
  const scale = Math.min(across, 260 / (room * 1.25));
  const up = scale * larger;
  const shift = (plot - scale * (xs[xs.length - 1] - xs[0])) / 2;
  const top = 10 + labels * SIDE.line;
  const bottom = low - 0.16 * room;
  const tall = top + (high - bottom) * up + 8 + SIDE.bottom;
  return {
    wide,
    tall,
    larger,
    bottom,
    top: high,
    floor: tall - SIDE.bottom,
    x: (m) => SIDE.left + shift + (m - xs[0]) * scale,
    y: (m) => tall - SIDE.bottom - (m - bottom) * up,
  };
}

const path = (sheet, xs, zs) =>
  xs.map((x, i) => `${i ? 'L' : 'M'}${sheet.x(x).toFixed(1)} ${sheet.y(zs[i]).toFixed(1)}`).join('');

/** Area between a level and the ground below it, cut to where the level is the higher one. */
function fillBetween(sheet, xs, level, ground) {
  let d = '';
  let run = [];
  const close = () => {
    if (run.length > 1) {
      const back = [...run]
        .reverse()
        .map(([x, , z]) => `L${sheet.x(x).toFixed(1)} ${sheet.y(z).toFixed(1)}`);
      d += `${path(
        sheet,
        run.map((p) => p[0]),
        run.map((p) => p[1]),
      )}${back.join('')}Z`;
    }
    run = [];
  };
  for (let i = 0; i < xs.length; i += 1) {
    if (level[i] > ground[i]) run.push([xs[i], level[i], ground[i]]);
    else {
      if (run.length) run.push([xs[i], ground[i], ground[i]]);
      close();
    }
  }
  close();
  return d;
}

/** Axes with units, and the line that says what is shown. */
function axes(sheet, xs, xWords) {
  const unit = DATA.unit;
  const group = draw('g', { class: 'axes' });
  const left = sheet.x(xs[0]);
  const right = sheet.x(xs[xs.length - 1]);
  const across = ticks(
    xs[0] * DATA.perMetre,
    xs[xs.length - 1] * DATA.perMetre,
    Math.max((right - left) / 70, 2),
  );
  for (const value of across.found) {
    const x = sheet.x(value / DATA.perMetre);
    group.append(
      draw('path', { d: `M${x} ${sheet.floor}v4` }),
      draw(
        'text',
        { x, y: sheet.floor + 15, 'text-anchor': 'middle' },
        value.toFixed(across.digits).replace('-', '\u2212'),
      ),
    );
  }
  const tall = sheet.floor - sheet.y(sheet.top);
  const up = ticks(
    sheet.bottom * DATA.perMetre,
    sheet.top * DATA.perMetre,
    Math.min(Math.max(tall / 34, 1.5), 5),
  );
  for (const value of up.found) {
    const y = sheet.y(value / DATA.perMetre);
    group.append(
      draw('path', { d: `M${left - 4} ${y}h4` }),
      draw('path', { class: 'rule', d: `M${left} ${y}H${right}` }),
      draw('text', { x: left - 7, y: y + 4, 'text-anchor': 'end' }, value.toFixed(up.digits)),
    );
  }
  group.append(
    draw('path', { d: `M${left} ${sheet.y(sheet.top) - 4}V${sheet.floor}H${right}` }),
    draw(
      'text',
      {
        x: sheet.wide < 340 ? sheet.wide / 2 : (SIDE.left + sheet.wide - SIDE.right) / 2,
        y: sheet.tall - 8,
        'text-anchor': 'middle',
      },
      `${xWords}, ${unit}`,
    ),
    draw(
      'text',
      {
        x: 0,
        y: 0,
        'text-anchor': 'middle',
        transform: `translate(11 ${(sheet.floor + sheet.y(sheet.top)) / 2}) rotate(-90)`,
      },
      `Height, ${unit}`,
    ),
  );
  return group;
}

function bodies(sheet, drawing) {
  return drawing.bodies.map((one) => {
    const flat = one.at;
    let d = '';
    for (let i = 0; i < flat.length; i += 2)
      d += `${i ? 'L' : 'M'}${sheet.x(flat[i]).toFixed(1)} ${sheet.y(flat[i + 1]).toFixed(1)}`;
    const colour = (DATA.shapes[one.c] || DATA.shapes.refer).colour;
    return draw('path', { d: `${d}Z`, fill: colour, class: one.body ? 'built' : 'built more' });
  });
}

function frameOf(sheet, title, clip) {
  return draw(
    'svg',
    {
      viewBox: `0 0 ${sheet.wide} ${sheet.tall.toFixed(0)}`,
      width: sheet.wide,
      height: sheet.tall.toFixed(0),
      role: 'img',
      'aria-label': title,
      class: 'sketch',
    },
    draw(
      'defs',
      {},
      draw(
        'clipPath',
        { id: clip },
        draw('rect', {
          x: SIDE.left,
          y: 0,
          width: sheet.wide - SIDE.left - SIDE.right,
          height: sheet.floor,
        }),
      ),
    ),
  );
}

const groundOf = (sheet, xs, zs) => [
  draw('path', {
    class: 'earth',
    d: `${path(sheet, xs, zs)}L${sheet.x(xs[xs.length - 1])} ${sheet.floor}L${sheet.x(xs[0])} ${sheet.floor}Z`,
  }),
  draw('path', { class: 'earthline', d: path(sheet, xs, zs) }),
];

const largerWords = (sheet) =>
  sheet.larger === 1
    ? 'Heights and distances at one scale.'
    : `Heights drawn ${sheet.larger} times larger than distances.`;

const boxWords = (drawing) =>
  (drawing.box
    ? ' Drawn as a box: its type gives footprint and height, not how it looks from here.'
    : '') +
  (drawing.widest
    ? ' Drawn at the widest that the channel may be: nobody saw its width.'
    : '');

function figure(title, svg, words) {
  return make(
    'figure',
    { class: 'drawing' },
    make('figcaption', {}, make('b', {}, title), make('span', {}, ` ${words}`)),
    svg,
  );
}

/** Long profile: downstream to the left. */
function profileFigure(site, wide) {
  const { profile } = site;
  const labels = [...profile.labels];
  const [pool, wedge] = [profile.pools[0], profile.wedges[0]];
  const some = (level, words, share) => {
    const [a, b] = [level.x[0], level.x[level.x.length - 1]];
    const x = a + share * (b - a);
    labels.push([x, heightAt(x, level.x, level.z), words]);
  };
  if (wedge) some(wedge, pool ? 'still pool, then sediment' : 'sediment fills in', 0.6);
  else if (pool) some(pool, 'still pool', 0.5);
  if (profile.water) {
    const i = Math.round(profile.x.length * 0.12);
    labels.push([profile.x[i], profile.water[i], profile.flood]);
  }
  const heights = [...profile.z, ...(profile.water || [])];
  for (const one of profile.bodies) for (let i = 1; i < one.at.length; i += 2) heights.push(one.at[i]);
  const sheet = paper(wide, heights, profile.x, labels.length);
  const clip = `clip${(sketchCount += 1)}`;
  const title = `Long profile of site ${site.id}, downstream to the left. ${labels.map((l) => l[2]).join('; ')}.`;
  const svg = frameOf(sheet, title, clip);
  const inner = draw('g', { 'clip-path': `url(#${clip})` });
  const fillLevel = (level, kind) => {
    const xs = profile.x.filter((x) => x > level.x[0] && x < level.x[1]);
    const all = [level.x[0], ...xs, level.x[1]];
    inner.append(
      draw('path', {
        class: kind,
        d: fillBetween(
          sheet,
          all,
          all.map((x) => heightAt(x, level.x, level.z)),
          all.map((x) => heightAt(x, profile.x, profile.z)),
        ),
      }),
    );
  };
  if (profile.water)
    inner.append(
      draw('path', { class: 'flood', d: fillBetween(sheet, profile.x, profile.water, profile.z) }),
    );
  for (const level of profile.wedges) fillLevel(level, 'wedge');
  for (const level of profile.pools) fillLevel(level, 'pool');
  inner.append(...groundOf(sheet, profile.x, profile.z), ...bodies(sheet, profile));
  if (profile.water)
    inner.append(draw('path', { class: 'waterline', d: path(sheet, profile.x, profile.water) }));
  svg.append(
    axes(
      sheet,
      profile.x,
      profile.road
        ? 'From the site, downhill to the left'
        : 'From the site, downstream to the left',
    ),
    inner,
    notes(sheet, labels),
  );
  const error = profile.error ? ` The bed is sure to about ${profile.error}.` : '';
  const water = profile.water
    ? ' Water at its depth in the measured section: a sketch, not a backwater calculation.'
    : '';
  return figure('From the side.', svg, `${largerWords(sheet)}${error}${water}${boxWords(profile)}`);
}

/** Cross-section, looking downstream. */
function sectionFigure(site, wide) {
  const { section } = site;
  const labels = [...section.labels];
  const low = section.z.indexOf(Math.min(...section.z));
  const wet = (level) => {
    let [a, b] = [low, low];
    while (a > 0 && section.z[a] < level) a -= 1;
    while (b < section.z.length - 1 && section.z[b] < level) b += 1;
    const cut = (i, j) => {
      if (section.z[i] < level) return section.x[i];
      const share = (level - section.z[j]) / (section.z[i] - section.z[j] || 1);
      return section.x[j] + share * (section.x[i] - section.x[j]);
    };
    return [cut(a, Math.min(a + 1, low)), cut(b, Math.max(b - 1, low))];
  };
  const known = (value) => value !== undefined && value !== null;
  if (known(section.level)) {
    const [a, b] = wet(section.level);
    labels.push([a + 0.8 * (b - a), section.level, section.flood]);
  }
  if (known(section.bankfull)) {
    const [a, b] = wet(section.bankfull);
    labels.push([a + 0.2 * (b - a), section.bankfull, 'bankfull']);
  }
  const heights = [...section.z];
  if (known(section.level)) heights.push(section.level);
  for (const one of section.bodies) for (let i = 1; i < one.at.length; i += 2) heights.push(one.at[i]);
  const sheet = paper(wide, heights, section.x, labels.length);
  const clip = `clip${(sketchCount += 1)}`;
  const svg = frameOf(
    sheet,
    `Cross-section of site ${site.id}, looking downstream. ${labels.map((l) => l[2]).join('; ')}.`,
    clip,
  );
  const inner = draw('g', { 'clip-path': `url(#${clip})` });
  if (known(section.level)) {
    const [a, b] = wet(section.level);
    const xs = [a, ...section.x.filter((x) => x > a && x < b), b];
    inner.append(
      draw('path', {
        class: 'flood',
        d: fillBetween(
          sheet,
          xs,
          xs.map(() => section.level),
          xs.map((x) => heightAt(x, section.x, section.z) - 1e-6),
        ),
      }),
    );
  }
  inner.append(...groundOf(sheet, section.x, section.z), ...bodies(sheet, section));
  for (const [level, kind] of [
    [section.level, 'waterline'],
    [section.bankfull, 'bankfull'],
  ]) {
    if (!known(level)) continue;
    const [a, b] = wet(level);
    inner.append(draw('path', { class: kind, d: path(sheet, [a, b], [level, level]) }));
  }
  svg.append(
    axes(
      sheet,
      section.x,
      section.road ? 'From the middle, looking downhill' : 'From the middle, looking downstream',
    ),
    inner,
    notes(sheet, labels),
  );
  const made = section.curve
    ? ' The raster does not show the channel here: its shape is from a published curve. Measure it.'
    : '';
  return figure(
    section.road ? 'Across the road.' : 'Across the channel.',
    svg,
    `${largerWords(sheet)}${made}${boxWords(section)}`,
  );
}
