// The way to the server: one stream, opened again whenever it ends; beats while in charge.

const BEAT_MS = 100;
const AGAIN_MS = 700;
// A page that has heard nothing for so long shows what was; it must not vouch for anything.
const STALE_MS = 400;

export function openStream(hear) {
  const address = `ws://${location.host}/stream${location.search}`;
  const stream = { socket: null, mine: false, heardMs: -Infinity, open: false };

  function connect() {
    const socket = new WebSocket(address);
    socket.binaryType = "arraybuffer";
    stream.socket = socket;
    socket.onmessage = (event) => {
      stream.heardMs = performance.now();
      if (event.data instanceof ArrayBuffer) {
        hear.rows(event.data);
        return;
      }
      const message = JSON.parse(event.data);
      if (message.kind === "welcome") stream.open = true;
      if (message.kind === "charge") stream.mine = message.mine;
      hear[message.kind]?.(message);
    };
    socket.onclose = () => {
      stream.open = stream.mine = false;
      hear.closed();
      setTimeout(connect, AGAIN_MS);
    };
  }

  stream.ask = (word, fields = {}) => {
    if (stream.socket?.readyState !== WebSocket.OPEN) return false;
    stream.socket.send(JSON.stringify({ ask: word, ...fields }));
    return true;
  };
  stream.fresh = () => performance.now() - stream.heardMs < STALE_MS;

  setInterval(() => {
    if (stream.mine && stream.fresh() && !document.hidden) stream.ask("beat");
  }, BEAT_MS);
  connect();
  return stream;
}
