// The rig as nodes in three columns, and the lines between them.
//
// A node's key is its kind and its name, as `in keys`, `rule left hand`, `out rack`, `device tuba`: an input, a rule and
// a device may have the same name.

/** Return { inputs, rules, outputs (each with its devices), lines } of what the daemon says about the rig. */
export function planOf({ ports, rules, devices }) {
  const inputs = ports.filter(({ direction }) => direction === "in").map(({ name }) => ({ kind: "in", key: `in ${name}`, name }));
  const outputs = ports
    .filter(({ direction }) => direction === "out")
    .map(({ name }) => ({
      kind: "out",
      key: `out ${name}`,
      name,
      devices: devices.filter(({ port }) => port === name).map(deviceNode),
    }));
  const rule = ({ name, open }) => ({ kind: "rule", key: `rule ${name}`, name, open });
  const isDevice = new Set(devices.map(({ name }) => name));
  return { inputs, rules: rules.map(rule), outputs, lines: linesOf(rules, isDevice) };
}

function deviceNode({ name, channel }) {
  return { kind: "device", key: `device ${name}`, name, channel: channel ?? null };
}

function linesOf(rules, isDevice) {
  const lines = [];
  for (const { name, from, to, open } of rules) {
    const rule = `rule ${name}`;
    for (const port of new Set(from)) {
      lines.push({ from: `in ${port}`, to: rule, open, names: [port, name], ask: { from: port, rule: name } });
    }
    for (const target of new Set(to)) {
      const key = isDevice.has(target) ? `device ${target}` : `out ${target}`;
      lines.push({ from: rule, to: key, open, names: [name, target], ask: { rule: name, to: target } });
    }
  }
  return lines;
}
