package seasons

import (
	"container/heap"
	"time"
)

// agenda holds what is still to happen, earliest first; what is planned for
// the same minute happens in the order it was planned. Because every record is
// written when its turn comes, the files come out in the order of time and
// no draw can meet stock that has not arrived yet.
type agenda struct {
	queue   taskQueue
	planned int
}

type task struct {
	at    time.Time
	order int
	do    func(at time.Time)
}

// add plans do for the minute at; do gets that time.
func (a *agenda) add(at time.Time, do func(at time.Time)) {
	a.planned++
	heap.Push(&a.queue, task{at.Truncate(time.Minute), a.planned, do})
}

// play carries out everything planned before until, with all it leads to.
func (a *agenda) play(until time.Time) {
	for len(a.queue) > 0 && a.queue[0].at.Before(until) {
		next := heap.Pop(&a.queue).(task)
		next.do(next.at)
	}
}

// taskQueue is a heap.Interface.
type taskQueue []task

func (q taskQueue) Len() int      { return len(q) }
func (q taskQueue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q taskQueue) Less(i, j int) bool {
	if !q[i].at.Equal(q[j].at) {
		return q[i].at.Before(q[j].at)
	}
	return q[i].order < q[j].order
}

func (q *taskQueue) Push(x any) { *q = append(*q, x.(task)) }

func (q *taskQueue) Pop() any {
	last := len(*q) - 1
	x := (*q)[last]
	*q = (*q)[:last]
	return x
}
