package procedure

import (
	"fmt"
	"strconv"
	"strings"

	yaml "go.yaml.in/yaml/v4"
)

// Review says that a hold point needs a readiness review beside its own sign-offs.
type Review struct {
	Roles         []string // each gives a go, by as many different people
	WaiverRole    string   // the second person of a waiver holds it; "" means that nothing can be waived
	TransportDays int64    // least days that must be left before the last transport; 0: none are asked for
	Questions     []Question
}

// Question is put to people by a review. Yes means ready.
type Question struct {
	ID   string // unique in the procedure
	Text string
	Role string // who may answer; "" means anyone
}

// questionForm is that of a step's id, as both are typed behind a run's.
var questionForm = codeForm{wordPattern, 24, `letters, digits and single - . _ between them, such as "rested"`}

func (r *reader) review(node *yaml.Node) *Review {
	if node == nil {
		return nil
	}
	f, ok := r.mapping(node, "the review", "roles", "waiver_role", "transport_days", "questions")
	if !ok {
		return nil
	}
	roles := r.required(f, "the review", "roles", "a list of the roles that give a go")
	review := &Review{Roles: r.codes(roles, "roles", "a role", roleForm)}
	if roles != nil && roles.Kind == yaml.SequenceNode && len(roles.Content) == 0 {
		r.fail(roles, "roles is empty", "at least one role that gives a go")
	}
	if role := f.values["waiver_role"]; role != nil {
		review.WaiverRole = r.code(role, "the role", roleForm)
	}
	if days := f.values["transport_days"]; days != nil {
		review.TransportDays = r.whole(days, "transport_days", 1, 366)
	}
	for _, item := range r.list(f.values["questions"], "questions", itemsMax) {
		review.Questions = append(review.Questions, r.question(item))
	}
	return review
}

func (r *reader) question(node *yaml.Node) Question {
	f, ok := r.mapping(node, "a question", "id", "text", "role")
	if !ok {
		return Question{} // keeps indices in step with the nodes
	}
	q := Question{
		ID:   r.code(r.required(f, "a question", "id", questionForm.expected), "the question's id", questionForm),
		Text: r.text(r.required(f, "a question", "text", "what people are asked; yes means ready"), "the text", 400),
	}
	if role := f.values["role"]; role != nil {
		q.Role = r.code(role, "the role", roleForm)
	}
	return q
}

// checkReviews: questions have ids of their own, and a review is by several people.
func (r *reader) checkReviews(p *Procedure, sources []fields) {
	first := map[string]int{}
	for i := range p.Steps {
		review, node := p.Steps[i].Review, sources[i].values["review"]
		if review == nil {
			continue
		}
		if len(review.Roles) == 1 {
			r.warn(valueOf(node, "roles"), fmt.Sprintf("the review of step %q is by one role", p.Steps[i].ID), "at least two, so that one person's mistake is seen by another")
		}
		for j, q := range review.Questions {
			at := valueOf(valueOf(node, "questions").Content[j], "id")
			if line := first[q.ID]; line != 0 && q.ID != "" {
				r.fail(at, fmt.Sprintf("question %q is asked twice", q.ID), fmt.Sprintf("another id; the first is on line %d", line))
				continue
			}
			first[q.ID] = at.Line
		}
	}
}

// reviewRoles calls check for every role that a review names.
func reviewRoles(review *Review, node *yaml.Node, check func(role string, at *yaml.Node)) {
	if review == nil {
		return
	}
	for i, role := range review.Roles {
		check(role, valueOf(node, "roles").Content[i])
	}
	if review.WaiverRole != "" {
		check(review.WaiverRole, valueOf(node, "waiver_role"))
	}
	for i, q := range review.Questions {
		if q.Role != "" {
			check(q.Role, valueOf(valueOf(node, "questions").Content[i], "role"))
		}
	}
}

// reviewFields gives the single-valued parts of a review, always in one order.
func reviewFields(review *Review) []field {
	if review == nil {
		review = &Review{}
	}
	days := ""
	if review.TransportDays > 0 {
		days = strconv.FormatInt(review.TransportDays, 10)
	}
	return []field{{"review by", strings.Join(review.Roles, ", ")}, {"review's waivers by", review.WaiverRole}, {"days before the last transport", days}}
}

func questionTexts(review *Review) []string {
	var texts []string
	if review != nil {
		for _, q := range review.Questions {
			text := q.ID + ": " + q.Text
			if q.Role != "" {
				text += " (" + q.Role + ")"
			}
			texts = append(texts, text)
		}
	}
	return texts
}

// Reviewed reports whether some hold point of the procedure needs a readiness review.
func (p *Procedure) Reviewed() bool {
	for i := range p.Steps {
		if p.Steps[i].Review != nil {
			return true
		}
	}
	return false
}
