package kind

// Until makes this process know only the kinds with lower numbers than first, and
// the fields with lower numbers than field, as a program of an earlier version did,
// until back is called. It is for tests that play two versions of the program. Nothing
// may use the tables of this package meanwhile that is not of the earlier one.
func Until(first ID, field FieldID) (back func()) {
	wasAll, wasByID, wasFields := all, byID, fields
	all = nil
	for _, k := range wasAll {
		if k.ID < first {
			all = append(all, k)
		}
	}
	byID = byID[:min(int(first), len(byID))]
	fields = fields[:min(int(field)-1, len(fields))]
	return func() { all, byID, fields = wasAll, wasByID, wasFields }
}
