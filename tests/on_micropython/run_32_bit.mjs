// Runs a MicroPython program in the 32-bit WebAssembly build, with the folders of the checkout that it needs.
// node run_32_bit.mjs PACKAGE_FOLDER PROGRAM FOLDER ...   (folders in the order of their search)
import { readdirSync, readFileSync, statSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

const [packageFolder, program, ...folders] = process.argv.slice(2);
const { loadMicroPython } = await import(pathToFileURL(join(packageFolder, "micropython.mjs")).href);
const python = await loadMicroPython({ heapsize: 8 * 1024 * 1024, stdout: (line) => console.log(line) });

function copy(source, target) {
  python.FS.mkdirTree(target);
  for (const name of readdirSync(source)) {
    const path = join(source, name);
    if (statSync(path).isDirectory()) copy(path, `${target}/${name}`);
    else if (name.endsWith(".py")) python.FS.writeFile(`${target}/${name}`, readFileSync(path));
  }
}

folders.forEach((folder, i) => copy(folder, `/part${i}`));
const search = [...folders.map((_, i) => `/part${i}`), ".frozen"].map((path) => `"${path}"`).join(", ");
python.FS.writeFile("/program.py", readFileSync(program));
const start = `
import sys
sys.path[:] = [${search}]
try:
    exec(open("/program.py").read(), {"__name__": "__main__"})
except SystemExit as ended:
    print("status:", ended.args[0] if ended.args else 0)
`;
try {
  python.runPython(start);
} catch (error) {
  console.log(error.message); // its stack would show the whole interpreter
  process.exit(1);
}
