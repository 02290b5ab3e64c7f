package kind

// FieldID is a field's number on the wire, from 1.
type FieldID uint32

// Policy says what happens when a field has values of which neither author had
// seen the other.
type Policy uint8

// The policies. Under Ask and Safest the conflict is listed until a person
// settles it.
const (
	Ask    Policy = iota // none of the values stands
	Latest               // the one with the latest time stands, ties by dot; for labels only
	Safest               // the most careful one stands, by the field's order
)

func (p Policy) String() string { return [...]string{"ask", "latest", "safest"}[p] }

// Field describes one field of an entity.
type Field struct {
	ID     FieldID
	Name   string // entity kind, point, field
	Type   Type   // Text, Ref or Int
	Policy Policy
	Order  []string // for Safest: values from stop to go; a value not listed is more careful than all
}

// Nothing in [Set.Value] assigns no value: the field is emptied.
const Nothing = -2

// The fields.
const (
	FieldSiteName FieldID = 1 + iota
	FieldPersonName
	FieldPersonRole
	FieldLocationName
	FieldLocationParent
	FieldItemName
	FieldItemGroup
	FieldItemUnitOfIssue
	FieldItemSerialised
	FieldItemMassGrams
	FieldItemLengthMM
	FieldItemWidthMM
	FieldItemHeightMM
	FieldItemShelfLifeDays
	FieldItemUNNumber
	FieldItemPriceCents
	FieldItemPriorMTBFHours
	FieldItemMinimum   // key: location code, or empty for all places together
	FieldItemLotExpiry // key: lot; value: date, YYYY-MM-DD
	FieldUnitPlace     // a location, or the unit it is installed in
	FieldUnitState
	FieldUnitSlot // of an assembly; key: slot; value: the unit in it
	FieldRunTitle
	FieldRunOwner     // key: step id, or empty for the whole run; value: person
	FieldAttachWanted // key: site code; value: AttachWanted, or empty where it is not, or not any more
	FieldLinkName
	FieldLinkSetting // key: the setting's name, as in a link's file
	FieldLinkState
	FieldAssemblyPlan          // of an assembly; value: its plan
	FieldAssemblyLength        // of an assembly; value: metres as built, a decimal
	FieldAssemblyPosition      // of an assembly; key: slot; value: metres as built, a decimal
	FieldAssemblyDepth         // of an assembly; key: slot; value: metres as built, a decimal
	FieldAssemblyChannel       // of an assembly; key: slot; value: fibre or channel as built
	FieldLocationLastTransport // value: date, YYYY-MM-DD
	FieldLocationLatitude      // value: degrees, negative south, a decimal
	FieldLocationElevation     // value: metres above sea level, a decimal
	FieldLocationOutside       // of a crate; value: its sides outside in mm, as 1200x800x600: length, width, height
	FieldLocationTareGrams     // of a crate; value: what it weighs empty
	FieldLocationGrossMaxGrams // of a crate; value: the most that it may weigh packed; 0 where nothing is told
	FieldLocationKept          // of a crate; value: between which temperatures it is kept, as -20..5 in °C, or empty
	FieldItemHazard            // key: what of dangerous goods, such as class; value: a text, empty where it is none
)

// AttachWanted is the value of attach.wanted while a site waits for the content.
const AttachWanted = "wanted"

// The values of unit.state, person.role and link.state, from stop to go.
var (
	UnitStates = []string{"scrapped", "quarantined", "failed", "received", "accepted", "released"}
	RoleStates = []string{"withdrawn", "granted"}
	LinkStates = []string{"removed", "in use"}
)

var fields = []Field{
	{FieldSiteName, "site.name", Text, Latest, nil},
	{FieldPersonName, "person.name", Text, Latest, nil},
	{FieldPersonRole, "person.role", Text, Safest, RoleStates},
	{FieldLocationName, "location.name", Text, Latest, nil},
	{FieldLocationParent, "location.parent", Ref, Ask, nil},
	{FieldItemName, "item.name", Text, Latest, nil},
	{FieldItemGroup, "item.group", Text, Latest, nil},
	{FieldItemUnitOfIssue, "item.unit_of_issue", Text, Ask, nil},
	{FieldItemSerialised, "item.serialised", Int, Ask, nil},
	{FieldItemMassGrams, "item.mass_grams", Int, Ask, nil},
	{FieldItemLengthMM, "item.length_mm", Int, Ask, nil},
	{FieldItemWidthMM, "item.width_mm", Int, Ask, nil},
	{FieldItemHeightMM, "item.height_mm", Int, Ask, nil},
	{FieldItemShelfLifeDays, "item.shelf_life_days", Int, Ask, nil},
	{FieldItemUNNumber, "item.un_number", Text, Ask, nil},
	{FieldItemPriceCents, "item.price_cents", Int, Ask, nil},
	{FieldItemPriorMTBFHours, "item.prior_mtbf_hours", Int, Ask, nil},
	{FieldItemMinimum, "item.minimum", Int, Ask, nil},
	{FieldItemLotExpiry, "item.lot_expiry", Text, Ask, nil},
	{FieldUnitPlace, "unit.place", Ref, Ask, nil},
	{FieldUnitState, "unit.state", Text, Safest, UnitStates},
	{FieldUnitSlot, "unit.slot", Ref, Ask, nil},
	{FieldRunTitle, "run.title", Text, Latest, nil},
	{FieldRunOwner, "run.owner", Ref, Ask, nil},
	{FieldAttachWanted, "attach.wanted", Text, Latest, nil}, // a wish: whichever stands, nothing is lost
	{FieldLinkName, "link.name", Text, Latest, nil},
	{FieldLinkSetting, "link.setting", Text, Ask, nil},
	{FieldLinkState, "link.state", Text, Safest, LinkStates},
	{FieldAssemblyPlan, "assembly.plan", Ref, Ask, nil},
	{FieldAssemblyLength, "assembly.length_m", Text, Ask, nil},
	{FieldAssemblyPosition, "assembly.position_m", Text, Ask, nil},
	{FieldAssemblyDepth, "assembly.depth_m", Text, Ask, nil},
	{FieldAssemblyChannel, "assembly.channel", Text, Ask, nil},
	{FieldLocationLastTransport, "location.last_transport", Text, Ask, nil},
	{FieldLocationLatitude, "location.latitude_deg", Text, Ask, nil},
	{FieldLocationElevation, "location.elevation_m", Text, Ask, nil},
	{FieldLocationOutside, "location.outside_mm", Text, Ask, nil},
	{FieldLocationTareGrams, "location.tare_grams", Int, Ask, nil},
	{FieldLocationGrossMaxGrams, "location.gross_max_grams", Int, Ask, nil},
	{FieldLocationKept, "location.kept_degc", Text, Ask, nil},
	{FieldItemHazard, "item.hazard", Text, Ask, nil},
}

// LookupField returns the field with a number, or nil if this program does not
// know it.
func LookupField(id FieldID) *Field {
	if id == 0 || uint64(id) > uint64(len(fields)) {
		return nil
	}
	return &fields[id-1]
}

// Fields returns every field in the order of the numbers.
func Fields() []Field { return fields }
