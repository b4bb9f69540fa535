export function waitForConnection() {}
