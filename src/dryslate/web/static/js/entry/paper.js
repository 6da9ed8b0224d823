// The paper beside the lines: photographed sheets, with a frame around the row that is being typed.

/** Frame a row of a page by its number; 0 takes the frame away. */
export function frameRow(page, number) {
  const frame = page.querySelector(".row-frame");
  const row = rowsOf(page).find((one) => one.row === number);
  frame.hidden = !row;
  if (!row) return null;
  frame.style.top = `${100 * row.top}%`;
  frame.style.height = `${100 * row.height}%`;
  return frame;
}

const rowsOf = (page) => JSON.parse(page.dataset.rows).rows;
const isOfColonies = (page) => JSON.parse(page.dataset.rows).of_colonies;
const same = (typed, printed) => typed.trim().toLowerCase() === printed.toLowerCase() || (printed !== "" && typed.trim() !== "" && Number(typed.replace(",", ".")) === Number(printed));

/** Frame the row that a line is typed from, where what is printed or the order of the lines tells it. */
export function follow(box, line, order) {
  const pages = [...box.querySelectorAll(".sheet-page")];
  const ofColonies = line.kind === "colony" && pages.some(isOfColonies);
  let found = null;
  for (const page of pages) {
    const rows = isOfColonies(page) === ofColonies ? rowsOf(page) : [];
    const printed = rows.some((row) => Object.keys(row.printed).length);
    const row = rows.find((one) => Object.entries(one.printed).length && Object.entries(one.printed).every(([field, value]) => same(line.cells[field] ?? "", value)))
      ?? (printed || !["intercept", "point", "cell"].includes(line.kind) ? undefined : rows.find((one) => one.order === order));
    const frame = frameRow(page, found ? 0 : row?.row ?? 0);
    if (frame) found = { frame, page };
  }
  if (!found) return;
  const middle = found.page.offsetTop + found.frame.offsetTop + found.frame.offsetHeight / 2;
  box.scrollTop = middle - box.clientHeight / 2;
}
