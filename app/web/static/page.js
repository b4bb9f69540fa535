// What every page does once it stands: scanning, sending once, and going on without a connection.
// Each page works without any of it.

import { listenToScans } from "./scan.js";
import { runClocks } from "./clock.js";
import { layOutFlows } from "./flow.js";
import { sendOnce } from "./send.js";
import { waitForConnection } from "./queue.js";

listenToScans(document);
sendOnce(document);
layOutFlows(document);
runClocks(document);
waitForConnection(document);
