const shown = document.getElementById("state");
const socket = new WebSocket(`ws://${location.host}/live${location.search}`);
let state = {};

socket.addEventListener("message", (event) => {
  const told = JSON.parse(event.data);
  if (told.type === "state") state = told.state;
  if (told.type === "change") Object.assign(state, told.change);
  shown.textContent = told.type === "gone" ? "The daemon has ended." : JSON.stringify(state, null, 2);
});

document.getElementById("panic").addEventListener("click", () => {
  socket.send(JSON.stringify({ id: 1, do: "panic" }));
});
