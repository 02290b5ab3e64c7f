package run_test

import (
	"strings"
	"testing"
)

// Each history is told in the language of history_test.go; want lists what must
// come out, as verdicts writes it. What each must be follows from docs and package
// comments: a sign-off is only as good as what its signer had seen.
var standings = []struct{ name, history, want string }{
	{"holds", `
		c stn tomas read measure good
		home < stn
		g home oskar go ready`, "g=holds ready=open"},
	{"overtaken_by_reading", `
		g home oskar go ready
		f stn tomas fail measure`, "g=overtaken ready=shut"},
	{"overtaken_by_no_without_nonconformance", `
		g home oskar go ready
		f stn tomas no look`, "g=overtaken ready=shut"},
	{"reopened_by_reading", `
		g home oskar go ready
		stn < home
		f stn tomas fail measure`, "g=reopened ready=shut"},
	{"overtaken_is_told_before_reopened", `
		g home oskar go ready
		f stn tomas fail measure
		ship < home
		n ship piet nc torque`, "g=overtaken"},
	{"reopened_is_told_before_unsettled", `
		n home oskar nc torque
		g home oskar go ready
		m home oskar nc torque`, "g=reopened"},
	{"reopened_by_a_step_after_the_hold", `
		g home oskar go ready
		n home oskar nc hand-over
		d home oskar dispose n use-as-is`, "g=reopened ready=shut"},
	{"unsettled_nonconformance", `
		n home oskar nc torque
		g home oskar go ready`, "g=unsettled ready=shut"},
	{"unsettled_reading_without_nonconformance", `
		f home oskar read measure bad
		g home oskar go ready`, "g=unsettled ready=shut"},
	{"settled_too_late", `
		n home oskar nc torque
		g home oskar go ready
		d home oskar dispose n use-as-is`, "g=unsettled ready=shut"},
	{"signed_again_after_overtaken", `
		g home oskar go ready
		f stn tomas fail measure
		home < stn
		d home oskar dispose f.nc use-as-is
		again home oskar go ready`, "g=overtaken again=holds ready=open"},
	{"voided_sign_off", `
		g home oskar go ready
		v home oskar void g`, "g=voided ready=shut"},
	{"void_of_another_sign_off_reopens", `
		a home oskar go ready
		b home lena go ready
		v home lena void b`, "a=reopened b=voided ready=shut"},
	{"voided_and_signed_again", `
		g home oskar go ready
		v home oskar void g
		again home oskar go ready`, "g=voided again=holds ready=open"},
	{"stop", `
		s stn mirre stop ready`, "s=stop ready=shut"},
	{"stop_and_go_crossed", `
		s stn mirre stop ready
		g home oskar go ready`, "s=stop g=overtaken ready=shut"},
	{"stop_answered", `
		s stn mirre stop ready
		home < stn
		g home oskar go ready`, "s=stop,_answered g=holds ready=open"},
	{"stop_later_than_go", `
		g home oskar go ready
		stn < home
		s stn mirre stop ready`, "s=stop g=reopened ready=shut"},
	{"stop_at_another_hold", `
		s stn mirre stop release
		g home oskar go ready`, "s=stop g=holds ready=open"},
	{"voided_stop_is_no_go", `
		s stn mirre stop ready
		v stn mirre void s`, "s=voided ready=shut"},
	{"stop_voided_before_go", `
		s stn mirre stop ready
		v stn mirre void s
		home < stn
		g home oskar go ready`, "s=voided g=holds ready=open"},
	{"stop_voided_unseen", `
		s stn mirre stop ready
		g home oskar go ready
		v stn mirre void s`, "s=voided g=overtaken ready=shut"},
	{"no_role", `
		g stn tomas go ready`, "g=no_role ready=shut"},
	{"wrong_role", `
		g home lena go ready as release-authority`, "g=wrong_role ready=shut"},
	{"role_withdrawn_before", `
		w home lena revoke oskar quality
		g home oskar go ready`, "g=no_role ready=shut"},
	{"role_withdrawn_unseen", `
		g stn oskar go ready
		w home lena revoke oskar quality`, "g=no_role ready=shut"},
	{"role_withdrawn_after", `
		g home oskar go ready
		w home lena revoke oskar quality`, "g=holds ready=open"},
	{"role_withdrawn_after_and_unseen", `
		g stn oskar go ready
		v home lena revoke oskar quality
		ship < stn
		w ship piet revoke oskar quality`, "g=no_role ready=shut"},
	{"role_granted_too_late", `
		g stn tomas go ready
		stn < home
		w stn lena grant tomas quality`, "g=no_role ready=shut"},
	{"role_granted_unseen", `
		g stn tomas go ready
		w home lena grant tomas quality`, "g=no_role ready=shut"},
	{"role_granted_and_signed_again", `
		g stn tomas go ready
		w home lena grant tomas quality
		stn < home
		again stn tomas go ready`, "g=no_role again=holds ready=open"},
	{"role_granted_again_after_withdrawal_and_sign_off", `
		w home lena revoke oskar quality
		g home oskar go ready
		again home lena grant oskar quality`, "g=no_role ready=shut"},
	{"role_granted_again_before_sign_off", `
		w home lena revoke oskar quality
		a home lena grant oskar quality
		g home oskar go ready`, "g=holds ready=open"},
	{"role_withdrawn_and_granted_by_people_who_had_not_heard", `
		w home lena revoke oskar quality
		a stn ida grant oskar quality
		home < stn
		g home oskar go ready`, "g=no_role ready=shut"},
	{"role_contested_and_decided_before_sign_off", `
		w home lena revoke oskar quality
		a stn ida grant oskar quality
		home < stn
		s home lena grant oskar quality
		g home oskar go ready`, "g=holds ready=open"},
	{"role_contested_and_decided_after_sign_off", `
		w home lena revoke oskar quality
		a stn ida grant oskar quality
		home < stn
		g home oskar go ready
		s home lena grant oskar quality`, "g=no_role ready=shut"},
	{"role_withdrawn_unseen_and_granted_again", `
		g stn oskar go ready
		w home lena revoke oskar quality
		a home lena grant oskar quality`, "g=no_role ready=shut"},
	{"role_withdrawn_unseen_and_once_more", `
		g stn oskar go ready
		w home lena revoke oskar quality
		home < stn
		v home lena revoke oskar quality`, "g=no_role ready=shut"},
	{"role_withdrawn_after_and_granted_again", `
		g home oskar go ready
		w home lena revoke oskar quality
		a home lena grant oskar quality`, "g=holds ready=open"},
	{"grant_not_here", `
		a stn ida grant tomas quality
		g stn tomas go ready
		lost a`, "g=no_role ready=shut"},
	{"bad_signature", `
		g home oskar go ready forged`, "g=signature_invalid ready=shut"},
	{"signed_with_another_key", `
		g home oskar go ready stolen`, "g=signature_invalid ready=shut"},
	{"key_not_here", `
		g home oskar go ready nokey`, "g=key_not_here_yet ready=shut"},
	{"evidence_not_all_here", `
		c stn tomas read measure good
		home < stn
		g home oskar go ready
		lost c`, "g=evidence_not_all_here ready=shut"},
	{"note_is_evidence", `
		c stn tomas note measure
		home < stn
		g home oskar go ready
		lost c`, "g=evidence_not_all_here ready=shut"},
	{"not_seen_and_not_here", `
		c stn tomas read measure good
		g home oskar go ready
		lost c`, "g=holds ready=open"},
	{"one_of_two_people", `
		a home lena go release`, "a=holds release=shut"},
	{"same_person_twice", `
		a home lena go release
		b home lena go release`, "a=holds b=holds release=shut"},
	{"two_different_people", `
		a home lena go release
		b home oskar go release`, "a=holds b=holds release=open"},
	{"two_people_who_had_not_heard_of_each_other", `
		a home lena go release
		b stn oskar go release`, "a=holds b=holds release=open"},
	{"two_people_one_overtaken", `
		n stn tomas nc -
		d stn ida dispose n use-as-is
		a home lena go release
		home < stn
		b home oskar go release`, "a=overtaken b=holds release=shut"},
	{"nonconformance_about_the_run", `
		n home ida nc -
		d home ida dispose n rework
		g home oskar go ready`, "g=holds ready=open"},
	{"use_as_is", `
		f home ida fail measure
		d home ida dispose f.nc use-as-is
		g home oskar go ready`, "g=holds measure=done"},
	{"scrap", `
		f home ida fail measure
		d home ida dispose f.nc scrap
		c home ida read measure good
		g home oskar go ready`, "g=unsettled measure=undone"},
	{"scrap_of_a_step_after_the_hold", `
		n home ida nc hand-over
		d home ida dispose n scrap
		g home oskar go ready`, "g=unsettled ready=shut"},
	{"disposition_of_a_newer_program_settles_nothing", `
		n home ida nc hand-over
		d home ida dispose n return-to-supplier
		g home oskar go ready`, "g=unsettled ready=shut"},
	{"verdict_of_a_newer_program_is_no_go", `
		s home oskar stop ready unknown`, "s=stop ready=shut"},
	{"verdict_of_a_newer_program_overtakes", `
		g home oskar go ready
		s stn oskar stop ready unknown`, "g=overtaken ready=shut"},
	{"rework_not_done_again", `
		f home ida fail measure
		d home ida dispose f.nc rework
		g home oskar go ready`, "g=unsettled measure=undone"},
	{"rework_done_again", `
		f home ida fail measure
		d home ida dispose f.nc rework
		c home ida read measure good
		g home oskar go ready`, "g=holds measure=done"},
	{"rework_done_again_by_someone_who_had_not_heard", `
		f home ida fail measure
		d home ida dispose f.nc rework
		c stn tomas read measure good
		home < stn
		g home oskar go ready`, "g=unsettled measure=undone"},
	{"repair_failed_again", `
		f home ida fail measure
		d home ida dispose f.nc repair
		e home ida fail measure
		g home oskar go ready`, "g=unsettled measure=undone"},
	{"repair_of_a_no", `
		f home ida fail look
		d home ida dispose f.nc repair
		c home ida check look
		g home oskar go ready`, "g=holds look=done"},
	{"rework_of_a_step_after_the_hold", `
		n home ida nc hand-over
		d home ida dispose n rework
		g home oskar go ready`, "g=holds ready=open"},
	{"rework_of_a_step_checked_off_as_good", `
		c home ida check torque
		n home ida nc torque
		d home ida dispose n rework
		g home oskar go ready`, "g=unsettled torque=undone"},
	{"rework_of_a_step_checked_off_as_good_done_again", `
		c home ida check torque
		n home ida nc torque
		d home ida dispose n rework
		e home ida check torque
		g home oskar go ready`, "g=holds torque=done"},
	{"rework_of_a_record", `
		c home ida record serial
		n home ida nc serial
		d home ida dispose n rework
		g home oskar go ready`, "g=unsettled serial=undone"},
	{"disposed_unseen", `
		f home ida fail measure
		stn < home
		d stn ida dispose f.nc use-as-is
		g home oskar go ready`, "g=unsettled ready=shut"},
	{"contested_dispositions", `
		f home ida fail measure
		stn < home
		a home lena dispose f.nc use-as-is
		g home oskar go ready
		b stn ida dispose f.nc repair`, "g=unsettled ready=shut measure=undone"},
	{"contested_dispositions_that_agree", `
		f home ida fail measure
		stn < home
		a home lena dispose f.nc use-as-is
		g home oskar go ready
		b stn ida dispose f.nc use-as-is`, "g=holds measure=done"},
	{"contested_dispositions_decided", `
		f home ida fail measure
		stn < home
		a home lena dispose f.nc use-as-is
		b stn ida dispose f.nc scrap
		home < stn
		c home lena dispose f.nc use-as-is
		g home oskar go ready`, "g=holds measure=done"},
	{"disposition_replaced_after_go", `
		f home ida fail measure
		a home lena dispose f.nc use-as-is
		g home oskar go ready
		b home lena dispose f.nc scrap`, "g=unsettled ready=shut"},
	{"void_unseen", `
		c stn tomas check torque
		home < stn
		g home oskar go ready
		v stn tomas void c`, "g=overtaken ready=shut torque=undone"},
	{"void_not_redone", `
		c home ida check torque
		v home ida void c
		g home oskar go ready`, "g=unsettled torque=undone"},
	{"void_redone", `
		c home ida check torque
		v home ida void c
		d home ida check torque
		g home oskar go ready`, "g=holds torque=done"},
	{"void_redone_after_go", `
		c home ida check torque
		v home ida void c
		g home oskar go ready
		d home ida check torque`, "g=unsettled ready=shut torque=done"},
	{"void_of_a_step_after_the_hold", `
		c home ida check hand-over
		v home ida void c
		g home oskar go ready`, "g=holds ready=open"},
	{"void_of_a_note_is_nothing", `
		c home ida note torque
		g home oskar go ready
		v home ida void c`, "g=holds ready=open"},
	{"void_of_what_is_not_here_unseen", `
		c stn tomas check torque
		g home oskar go ready
		v stn tomas void c
		lost c`, "g=overtaken ready=shut torque=undone"},
	{"void_of_a_note_that_is_not_here_unseen", `
		c stn tomas note torque
		g home oskar go ready
		v stn tomas void c
		lost c`, "g=overtaken ready=shut"},
	{"void_of_a_note_that_is_not_here_later", `
		c stn tomas note torque
		g home oskar go ready
		stn < home
		v stn tomas void c
		lost c`, "g=reopened ready=shut"},
	{"void_of_a_note_that_has_come", `
		c stn tomas note torque
		g home oskar go ready
		v stn tomas void c`, "g=holds ready=open"},
	{"void_known_before_what_it_voids", `
		c stn tomas check torque
		v stn tomas void c
		home < stn expedited
		g home oskar go ready
		lost c`, "g=unsettled ready=shut"},
	{"void_known_before_what_it_voids_which_has_come", `
		c stn tomas check torque
		v stn tomas void c
		home < stn expedited
		g home oskar go ready`, "g=unsettled ready=shut torque=undone"},
	{"void_known_before_the_note_that_it_voids", `
		c stn tomas note torque
		v stn tomas void c
		home < stn expedited
		g home oskar go ready
		lost c`, "g=unsettled ready=shut"},
	{"void_known_before_the_note_that_it_voids_which_has_come", `
		c stn tomas note torque
		v stn tomas void c
		home < stn expedited
		g home oskar go ready`, "g=holds ready=open"},
	{"void_of_a_later_step_that_is_not_here", `
		c stn tomas check hand-over
		v stn tomas void c
		home < stn expedited
		g home oskar go ready
		lost c`, "g=unsettled ready=shut"},
	{"void_of_a_later_step_that_has_come", `
		c stn tomas check hand-over
		v stn tomas void c
		home < stn expedited
		g home oskar go ready`, "g=holds ready=open"},
	{"deed_while_something_not_here_was_voided", `
		g home oskar go ready
		w home mirre go watch
		stn < home
		c ship piet check torque
		v ship piet void c
		l stn tomas check lower
		lost c`, "ready=shut l=deed"},
	{"voided_failure_needs_no_nonconformance", `
		f home ida read measure bad
		v home ida void f
		c home ida read measure good
		g home oskar go ready`, "g=holds measure=done"},
	{"voided_failure_keeps_its_nonconformance", `
		f home ida fail measure
		v home ida void f
		c home ida read measure good
		g home oskar go ready`, "g=unsettled measure=done"},
	{"withdrawn_revision_seen", `
		w home lena withdraw
		g home oskar go ready`, "g=unsettled ready=shut"},
	{"withdrawn_revision_unseen", `
		g home oskar go ready
		w stn lena withdraw`, "g=overtaken ready=shut"},
	{"withdrawn_revision_later", `
		g home oskar go ready
		w home lena withdraw`, "g=reopened ready=shut"},
	{"gate_before_is_shut_again", `
		a home oskar go ready
		v home oskar void a
		b home lena go release
		c home oskar go release`, "b=unsettled c=unsettled release=shut"},
	{"gate_before_is_open_again", `
		a home oskar go ready
		v home oskar void a
		again home oskar go ready
		b home lena go release
		c home oskar go release`, "b=holds c=holds release=open"},
	{"shut_hold_blocks_all_after_it", `
		w home mirre go watch`, "ready.now=ready watch.now=blocked lower.now=blocked hand-over.now=blocked"},
	{"shut_witness_point_blocks_what_cannot_be_undone", `
		g home oskar go ready`, "watch.now=ready lower.now=blocked seat.now=blocked release.now=ready"},
	{"open_gates_block_nothing", `
		g home oskar go ready
		w home mirre go watch`, "lower.now=ready hand-over.now=blocked"},
	{"withdrawal_blocks_all", `
		w home lena withdraw`, "measure.now=blocked torque.now=blocked"},
	{"step_after_another", `
		g home oskar go ready
		a home oskar go release
		b home lena go release`, "release=open hand-over.now=blocked"},
	{"step_after_another_done", `
		c home ida check torque
		g home oskar go ready
		a home oskar go release
		b home lena go release`, "release=open hand-over.now=ready"},
	{"done_twice", `
		a home ida check torque
		b stn tomas check torque
		home < stn
		c home ida check torque`, "a.twice=twice b.twice=twice c.twice="},
	{"done_twice_and_one_voided", `
		a home ida check torque
		b stn tomas check torque
		v stn tomas void b`, "a.twice= b.twice="},
	{"deed_behind_a_gate_shut_unseen", `
		g home oskar go ready
		w home mirre go watch
		stn < home
		f home tomas fail measure
		l stn tomas check lower`, "ready=shut l=deed"},
	{"deed_then_bad_news", `
		g home oskar go ready
		w home mirre go watch
		l home tomas check lower
		f home tomas fail measure`, "ready=shut l="},
	{"deed_behind_open_gates", `
		g home oskar go ready
		w home mirre go watch
		l home tomas check lower`, "ready=open watch=open l="},
	{"deed_that_is_a_record", `
		g home oskar go ready
		w home mirre go watch
		stn < home
		s home oskar stop ready
		l stn tomas record seat`, "ready=shut l=deed"},
	{"deed_that_fails_is_not_its_own_gate", `
		g home oskar go ready
		w home mirre go watch
		l home tomas fail parted`, "ready=shut l="},
	{"deed_without_witness", `
		g home oskar go ready
		l home tomas check lower`, "watch=shut l=deed"},
	{"deed_stays_a_deed_when_signed_again", `
		g home oskar go ready
		w home mirre go watch
		stn < home
		s home oskar stop ready
		l stn tomas check lower
		home < stn
		again home oskar go ready`, "ready=open l=deed"},
}

func TestStanding(t *testing.T) {
	for _, c := range standings {
		t.Run(c.name, func(t *testing.T) {
			got := mustTell(t, stepsOfString(), c.history).verdicts()
			for _, pair := range strings.Fields(c.want) {
				name, want, _ := strings.Cut(pair, "=")
				if want = strings.ReplaceAll(want, "_", " "); got[name] != want {
					t.Errorf("%s is %q; want %q, in the history%s", name, got[name], want, c.history)
				}
			}
		})
	}
}
