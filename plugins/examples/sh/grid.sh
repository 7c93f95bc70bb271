#!/bin/sh
# undim-importer: name grid
# undim-importer: version 1.0
# undim-importer: reads a grid of values: x along the top, y down the side, one z
# undim-importer: mark GRID z=
#
# GRID z=25
#        10    30    50
# 40    180   210   175
# 20    120   140     -
#
# exec: a script can start no program beside itself, but become one.
exec awk '
function refuse(text) {
    print "failure: line " NR ": " text > "/dev/stderr"
    exit 1
}
function is_number(cell) {
    return cell ~ /^[-+]?([0-9]+[.]?[0-9]*|[.][0-9]+)$/
}
BEGIN { print "row,value,x,y,z" }
length($0) > 2000 { refuse("this line is longer than any grid") }
NF == 0 { next }
/^GRID z=/ {
    z = substr($0, 8)
    sub(/[ \t\r]+$/, "", z)
    if (!is_number(z)) refuse("after z= a number should stand")
    columns = 0
    next
}
z == "" { refuse("the grid should begin with a line GRID z=") }
columns == 0 {
    columns = NF
    for (i = 1; i <= NF; i++) {
        if (!is_number($i)) refuse("here the x of each column should stand")
        x[i] = $i
    }
    next
}
{
    sub(/\r$/, "")
    if (NF != columns + 1) refuse(NF - 1 " values, but " columns " columns")
    if (!is_number($1)) refuse("a row should begin with its y")
    for (i = 1; i <= columns; i++) {
        value = $(i + 1)
        if (value == "-") value = ""
        else if (!is_number(value)) {
            print "line " NR ", column " i + 1 ": this is no number" > "/dev/stderr"
            value = ""
        }
        print NR "," value "," x[i] "," $1 "," z
    }
}'
