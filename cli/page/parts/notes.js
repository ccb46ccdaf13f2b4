// Words in a drawing: in lines above it, each with a thin line down to what it is about.

const LETTER = 6.8; // pixels a letter takes on average, in wide fonts
const SIDE = { left: 66, right: 12, bottom: 40, line: 17 };

/** Every order of so many things. */
function orders(count) {
  if (count < 2) return [[...Array(count).keys()]];
  return orders(count - 1).flatMap((order) =>
    [...Array(count).keys()].map((at) => [...order.slice(0, at), count - 1, ...order.slice(at)]),
  );
}

/** Where words run from their line: to the right of it or to the left, and how far they stick out. */
function runs(note, toRight, wide) {
  const start = toRight ? note.x - 3 : note.x + 3 - note.long;
  const left = Math.min(Math.max(start, 2), Math.max(wide - note.long - 2, 2));
  return { left, right: left + note.long, moved: Math.abs(left - start) };
}

/**
 * Words in lines above the drawing, each with a thin line down to its place.
 *
 * Of all orders and sides the one is taken in which the fewest lines run through words; there are
 * at most five or six labels, so that all can be tried.
 */
function notes(sheet, labels) {
  const placed = labels.map(([x, z, text]) => ({
    x: sheet.x(x),
    y: sheet.y(z),
    text,
    long: text.length * LETTER,
  }));
  let best = null;
  for (const order of orders(placed.length)) {
    for (let sides = 0; sides < 2 ** placed.length; sides += 1) {
      const lines = order.map((i) => ({
        note: placed[i],
        ...runs(placed[i], Boolean(sides & (1 << i)), sheet.wide),
      }));
      let cost = 0;
      lines.forEach((line, row) => {
        cost += line.moved / 100;
        // The line of an upper row passes all rows below it.
        for (const below of lines.slice(row + 1))
          if (line.note.x > below.left - 3 && line.note.x < below.right + 3) cost += 10;
      });
      if (!best || cost < best.cost) best = { cost, lines };
    }
  }
  const group = draw('g', { class: 'notes' });
  const words = [];
  (best ? best.lines : []).forEach(({ note, left }, row) => {
    const y = 13 + row * SIDE.line;
    group.append(
      draw('path', { d: `M${note.x.toFixed(1)} ${y + 4}V${note.y.toFixed(1)}` }),
      draw('circle', { cx: note.x, cy: note.y, r: 2 }),
    );
    words.push(draw('text', { x: left.toFixed(1), y }, note.text));
  });
  // Words lie on their halo above all lines.
  group.append(...words);
  return group;
}
