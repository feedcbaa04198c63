"""Each outside library is used where DEVELOPERS.md says and nowhere else (system headers have no folder of links)."""
import pathlib
import re
import sys

root = pathlib.Path(sys.argv[1])
homes = {
    "fftw3.h": {"lib/signal/fft.c"},
    "libxml/": {"lib/reference", "lib/collection/read", "lib/collection/store"},
    "jansson.h": {"lib/report"},
    "git2": {"lib/collection/store"},
    "librsvg/": set(),
}
seen = set()
problems = []
for path in sorted([*root.glob("lib/**/*.[ch]"), *root.glob("cli/*.[ch]")]):
    name = path.relative_to(root)
    for header in re.findall(r"^\s*#\s*include\s*<([^>]+)>", path.read_text(encoding="utf-8"), re.M):
        for library, allowed in homes.items():
            if header.startswith(library):
                seen.add(library)
                if str(name) not in allowed and str(name.parent) not in allowed:
                    problems.append(f"{name} includes <{header}>")
print("\n".join(problems) or f"{len(seen)} libraries")
sys.exit(1 if problems or len(seen) < 4 else 0)
