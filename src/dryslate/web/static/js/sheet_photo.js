// A photographed sheet: the row that the address names is framed.

import { frameRow } from "./entry/paper.js";

const wanted = () => Number(/^#row-(\d+)$/.exec(location.hash)?.[1] ?? 0);
const show = () => { for (const page of document.querySelectorAll(".sheet-page")) frameRow(page, wanted()); };
addEventListener("hashchange", show);
show();
