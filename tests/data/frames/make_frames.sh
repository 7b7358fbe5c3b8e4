#!/bin/sh
# Draws the frames beside this file again, into the folder that is given.
set -eu
out=${1:?a folder}
render() {
  name=$1
  shift
  cargo run --quiet --release --example render -- --size 128x96 --radius 0.6 --out "$out/$name" "$@"
  cp "$out/$name/lens.pgm" "$out/$name.pgm"
}
render even_8_bits --lens "-2.25 -1.50 x 035" --seed 11
render even_12_bits --lens "-2.25 -1.50 x 035" --bits 12 --seed 12
render slope_8_bits --lens "+2.00 -0.75 x 162" --ground 0.08 --slope 0.02,0.01 --seed 13
render faults_10_bits --lens "-4.00 -1.00 x 060" --bits 10 --missing 2 --saturated 1 --ghosts 1 --glints 1 --hot 2 --seed 14
render airy_quiet_8_bits --lens "-1.00" --profile airy --quiet
