// What every page does once it stands: scanning, sending once, and going on without a connection.
// Each page works without any of it.

import { writeSacksDown } from "./sacks.js";
import { listenToScans } from "./scan.js";
import { sendOnce } from "./send.js";
import { waitForConnection } from "./queue.js";

listenToScans(document);
writeSacksDown(document);
sendOnce(document);
waitForConnection(document);
