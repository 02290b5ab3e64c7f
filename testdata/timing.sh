# Sourced by the scripts here that time whole processes.
#
# How long a process takes on a busy or slow machine says little about the program. So
# what is timed is held to its limit in ms, or to three times what the same program takes
# there to start and show a help text, in the same run, whichever is more.

# timed FILE COMMAND…: appends how long a command took, in microseconds.
timed() {
  local file=$1 start end
  shift
  start=$EPOCHREALTIME
  "$@" >/dev/null
  end=$EPOCHREALTIME
  echo $((${end/./} - ${start/./})) >>"$file"
}

# median FILE: of the times in it, in microseconds.
median() { sort -n "$1" | awk '{v[NR]=$1} END{print v[int((NR+1)/2)]}'; }

# within MICROSECONDS LIMIT-IN-MS MICROSECONDS-TO-START: fails, and says so, where the
# first is over its limit.
within() {
  awk -v t="$1" -v limit="$2" -v start="$3" 'BEGIN{
    if (t < limit*1000 || t < 3*start) exit 0
    printf "%.1f ms is over its limit of %d ms, and over three times the start\n", t/1000, limit
    exit 1}'
}
