// What every page does once it stands: scanning, sending once, and going on without a connection.
// Each page works without any of it.

import { runClocks } from "./clock.js";
import { keepDrafts } from "./draft.js";
import { readFiles, weighFiles } from "./file.js";
import { layOutFlows } from "./flow.js";
import { refreshAfterEach } from "./live.js";
import { countLoads } from "./load.js";
import { waitForConnection } from "./queue.js";
import { helpRoaster } from "./roast.js";
import { addRows } from "./rows.js";
import { writeSacksDown } from "./sacks.js";
import { listenToScans } from "./scan.js";
import { sendOnce } from "./send.js";
import { walkSteps } from "./steps.js";

function wake(within) {
  listenToScans(within);
  writeSacksDown(within);
  sendOnce(within);
  walkSteps(within);
  helpRoaster(within);
  countLoads(within);
  keepDrafts(within);
  layOutFlows(within);
  runClocks(within);
}

// Where the cursor begins something may stand already: what is typed or scanned takes its place.
function takeThePlace(within) {
  const first = within.querySelector("main input[autofocus]");
  if (!first?.value || within.querySelector('[aria-invalid="true"]')) return;
  first.focus();
  first.select();
}

addRows(document, listenToScans);
readFiles(document);
weighFiles(document);
wake(document);
takeThePlace(document);
refreshAfterEach(document.getElementById("main"), wake);
waitForConnection(document);
