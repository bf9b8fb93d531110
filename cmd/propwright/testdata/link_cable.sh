#!/bin/sh
# Runs in network and mount namespaces of its own, as their root: $1 is propwright, $2 a
# site with prop harbour-bell (board 10.77.0.57, controller 10.77.0.10), $3 the cable's
# program. This computer stands in for the controller; the board, in a further namespace,
# hangs at the other end of a cable that brings frames late or drops some.
set -eu
program=$1
export PROPWRIGHT_SITE="$2"
cable=$3

unshare -n sh -c 'echo $$ > board.pid; exec sleep 600' &
while [ ! -s board.pid ]; do :; done
board=$(cat board.pid)
pids=$board
trap 'kill $pids 2> /dev/null || true' EXIT
at_board() { nsenter -t "$board" -n "$@"; }

ip link set lo up
ip link add card type veth peer name plug-a
ip link add plug-b type veth peer name eth0
ip link set eth0 netns "$board"
for c in card plug-a plug-b; do ip link set "$c" up; done
ip address add 10.77.0.10/24 dev card
at_board ip link set lo up
at_board ip link set eth0 up
at_board ip address add 10.77.0.57/24 dev eth0
at_board ip address add 10.77.0.1/24 dev eth0 # the gateway as well

look() { # what delay lost
  rm -f port board.out
  "$cable/slow-cable" plug-a plug-b "$2" "$3" 1 > cable.out &
  wire=$!
  nsenter -t "$board" -n "$program" board --alias port --controller 10.77.0.10:502 --enrolled master,show > board.out 2> board.err &
  reader=$!
  while ! grep -q control: board.out; do :; done
  "$cable/board-hands" "$(sed -n 's/^control: //p' board.out)" 4s &
  hands=$!
  pids="$board $wire $reader $hands"
  status=0
  "$program" link harbour-bell --listen 10.77.0.10:502 --port port --for 40s --json > link.json 2> link.err || status=$?
  echo "$1: status $status, faults $(sed -n 's/^      "id": "\(.*\)",$/\1/p' link.json | tr '\n' ' ')"
  [ "$status" -lt 2 ] || cat link.err
  kill "$hands" "$reader" "$wire" || true
  wait "$hands" "$reader" "$wire" || true
  pids=$board
}

look sound 0s 0
look late 1.1s 0
look lossy 0s 0.3
