"use strict";
const told = {};
const socket = new WebSocket(`ws://${location.host}/live`);
socket.onopen = () => socket.send(JSON.stringify({ hello: 1, passcode: null }));
socket.onmessage = (message) => {
  const frame = JSON.parse(message.data);
  told[frame.kind] = frame;
  document.getElementById("told").textContent = JSON.stringify(told, null, 1);
};
