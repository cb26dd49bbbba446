// Live bytes of the firmware in the 32-bit MicroPython under node, after each step of a boot:
// node memory.mjs MODULE FIRMWARE BENCH TICKS. It collects only between calls, so each step is one.
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [moduleFile, firmware, bench, ticks] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(moduleFile).href);
const said = [];
const python = await loadMicroPython({ heapsize: 4 * 1024 * 1024, linebuffer: true, stdout: (line) => said.push(line) });
const copy = (from, to) => {
  if (fs.statSync(from).isDirectory()) {
    python.FS.mkdirTree(to);
    for (const name of fs.readdirSync(from)) copy(path.join(from, name), `${to}/${name}`);
  } else {
    python.FS.writeFile(to, fs.readFileSync(from));
  }
};
const live = () => {
  python.runPython("import gc\ngc.collect()");
  python.runPython("import gc\nprint(gc.mem_alloc())");
  return Number(said.pop());
};
const steps = [
  ["start", "import sys\nsys.path.insert(0, '/lib')"],
  ["code", "import ticks_on_heap as bench"],
  ["port", "port = bench.Bench()"],
  ["boot", "parts = bench.build(port, 1)"],
  ["run", `bench.run(parts, ${ticks})`],
];
try {
  copy(firmware, "/lib/emberbed_fw");
  python.FS.writeFile("/lib/ticks_on_heap.py", fs.readFileSync(bench));
  const bytes = {};
  for (const [name, code] of steps) {
    python.runPython(code);
    bytes[name] = live();
  }
  python.runPython("print(parts[0].life.state, parts[0].guard.trip)");
  [bytes.state, bytes.trip] = said.pop().split(" ").map(Number);
  console.log(JSON.stringify(bytes));
} catch (error) {
  console.log(String(error.message).slice(0, 2000));
  process.exitCode = 1;
}
