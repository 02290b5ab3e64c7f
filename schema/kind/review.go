package kind

// Readiness reviews. Each is about a hold point, told by a run and a step of it (its
// place in the run's revision, from 0); a line is a check by its name, or a question.
var (
	// ReviewOpen opens the review of a hold point, or opens it anew.
	ReviewOpen = register(90, "review.open", cols("run", Ref, "step", Uint, "text", Text))
	// ReviewCheck is how a check came out where it was worked out: outcome 0 ok, 1 not
	// ok, 2 not known, with the facts in words and where they come from. Until_ms is
	// how long it may be relied on, Unix ms, or 0.
	ReviewCheck = register(91, "review.check", cols("run", Ref, "step", Uint, "line", Text, "outcome", Uint, "facts", Text, "source", Text, "until_ms", Uint))
	// ReviewAsk asks a question that the procedure does not ask.
	ReviewAsk = register(92, "review.ask", cols("run", Ref, "step", Uint, "text", Text))
	// ReviewAnswer answers a question of the procedure, told by its id, or one that was
	// asked: answer 0 yes, 1 no.
	ReviewAnswer = register(93, "review.answer", cols("run", Ref, "step", Uint, "question", Text, "asked", Ref, "answer", Uint, "text", Text))
	// ReviewWaive asks to go on though a line is not ok; or, where it names the waiver
	// that somebody else asked for, grants that, in a role. Digest, key and signature
	// are as those of step.sign.
	ReviewWaive = register(94, "review.waive", cols("run", Ref, "step", Uint, "line", Text, "asked", Ref, "waiver", Ref, "reason", Text, "risk", Text,
		"role", Text, "digest", Bytes, "key", Ref, "signature", Bytes))
	// ReviewDecide is a go or no-go in a role: verdict, digest, key and signature are
	// as those of step.sign.
	ReviewDecide = register(95, "review.decide", cols("run", Ref, "step", Uint, "verdict", Uint, "role", Text, "text", Text, "digest", Bytes, "key", Ref, "signature", Bytes))
)
