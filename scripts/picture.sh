#!/bin/sh
# Makes docs/log.svg, the picture in README.md, from what the program prints now.
#
#   scripts/picture.sh SAMPLE [LINES]      LINES of the table are shown, then "…" (default 48)
set -eu

sample=$1
most=${2:-48}
program=./target/release/tugback
[ -x "$program" ] || { echo "$program is not built; run: make build" >&2; exit 2; }

mkdir -p docs
NO_COLOR=1 COLUMNS=100 "$program" log "$sample" 2>/dev/null | awk -v most="$most" -v title="tugback log $sample" '
    function escaped(s) { gsub(/&/, "\\&amp;", s); gsub(/</, "\\&lt;", s); gsub(/>/, "\\&gt;", s); return s }
    NR <= most { line[NR] = $0; rows = NR }
    NR == most + 1 { line[NR] = "…"; rows = NR }
    END {
        if (rows < 5) { print "no table to draw" > "/dev/stderr"; exit 1 }
        step = 19; top = 58; width = 100 * 8.43 + 40; height = top + rows * step + 6
        printf "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%d\" height=\"%d\" viewBox=\"0 0 %d %d\" role=\"img\">\n", width, height, width, height
        printf "<title>%s</title>\n", escaped(title)
        printf "<rect width=\"100%%\" height=\"100%%\" rx=\"8\" fill=\"#fcfcfa\" stroke=\"#c9c9c4\"/>\n"
        printf "<g font-family=\"DejaVu Sans Mono, Menlo, Consolas, monospace\" font-size=\"14\" fill=\"#24292f\" xml:space=\"preserve\">\n"
        printf "<text x=\"20\" y=\"30\" fill=\"#57606a\" font-weight=\"bold\">$ %s</text>\n", escaped(title)
        for (n = 1; n <= rows; n++)
            printf "<text x=\"20\" y=\"%d\">%s</text>\n", top + (n - 1) * step, escaped(line[n])
        print "</g>\n</svg>"
    }' >docs/log.svg.tmp
mv docs/log.svg.tmp docs/log.svg
echo "docs/log.svg: $(grep -c '<text' docs/log.svg) lines"
