// Runs a MicroPython program in the 32-bit WebAssembly build, with the folders of the checkout that it needs.
// node run_32_bit.mjs PACKAGE_FOLDER PROGRAM FOLDER ...   (folders in the order of their search)
// A program may be cut in pieces by lines "# collect"; garbage is collected between them, which this build does at no
// other time. The piece after "# repeat" is carried out as often as REPEAT says, else once.
import { readdirSync, readFileSync, statSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

const [packageFolder, program, ...folders] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(join(packageFolder, "micropython.mjs")).href);
const heapsize = Number(process.env.HEAP_BYTES ?? 8 * 1024 * 1024);
const python = await loadMicroPython({ heapsize, stdout: (line) => console.log(line) });

function copy(source, target) {
  python.FS.mkdirTree(target);
  for (const name of readdirSync(source)) {
    const path = join(source, name);
    if (statSync(path).isDirectory()) copy(path, `${target}/${name}`);
    else if (name.endsWith(".py") || name.endsWith(".mpy")) python.FS.writeFile(`${target}/${name}`, readFileSync(path));
  }
}

folders.forEach((folder, i) => copy(folder, `/part${i}`));
const search = [...folders.map((_, i) => `/part${i}`), ".frozen"].map((path) => `"${path}"`).join(", ");
const pieces = readFileSync(program, "utf-8").split(/^# (?=collect$|repeat$)/m);
pieces.forEach((piece, i) => python.FS.writeFile(`/piece${i}.py`, i ? `# ${piece}` : piece));
const start = `
import sys
sys.path[:] = [${search}]
scope = {"__name__": "__main__"}
if ${pieces.length} > 1:
    scope["SLICED"] = True
ended = None
def carry_out(number):
    global ended
    if ended is None:
        try:
            exec(open("/piece%d.py" % number).read(), scope)
        except SystemExit as error:
            ended = error
            print("status:", error.args[0] if error.args else 0)
`;
try {
  python.runPython(start);
  for (let i = 0; i < pieces.length; i++) {
    const times = pieces[i].startsWith("repeat") ? Number(process.env.REPEAT ?? 1) : 1;
    for (let turn = 0; turn < times; turn++) python.runPython(`carry_out(${i})`);
  }
} catch (error) {
  console.log(error.message); // its stack would show the whole interpreter
  process.exit(1);
}
