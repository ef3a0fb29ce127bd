package fleet

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/field"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// Extent is what a revision watches on the floor, or which inputs are missing to say so.
type Extent struct {
	RevisionID    uuid.UUID   `json:"revision_id"`
	DoorVersionID uuid.UUID   `json:"door_version_id"`
	ModelVersion  string      `json:"model_version"`
	Corrections   []uuid.UUID `json:"corrections"` // of the catalogue, that it rests on; never nil
	ComputedAt    time.Time   `json:"computed_at"`
	Missing       []string    `json:"missing"` // never nil
	WidthM        *float64    `json:"width_m"`
	DepthM        *float64    `json:"depth_m"`
	NearM         *float64    `json:"near_m"`
	FarM          *float64    `json:"far_m"`
	AreaM2        *float64    `json:"area_m2"`
}

// Coverage says how far the fields of a side cover a zone that the rule basis asks for.
type Coverage struct {
	Side         string    `json:"side"`
	Zone         string    `json:"zone"`
	InputsSHA256 string    `json:"inputs_sha256"` // of everything that it was computed from
	ModelVersion string    `json:"model_version"`
	RulePack     string    `json:"rule_pack"`
	ComputedAt   time.Time `json:"computed_at"`
	Missing      []string  `json:"missing"` // never nil
	RequiredM2   *float64  `json:"required_m2"`
	CoveredShare *float64  `json:"covered_share"`
	GapM         *float64  `json:"gap_m"` // diameter of the greatest circle that fits into a gap
	Shortfall    *bool     `json:"shortfall"`
	Unfit        []string  `json:"unfit"` // components wired for the zone that do not count: they tell something else, or let go too soon; never nil
}

// picture is everything about a door that decides what is watched there.
type picture struct {
	door        Door
	devices     []deviceInPlace
	components  []Component
	models      map[uuid.UUID]Model
	antennas    map[uuid.UUID]Antenna
	accessories map[uuid.UUID]Accessory
}

// deviceInPlace is a fitted device with the revision that holds.
type deviceInPlace struct {
	component Component
	revision  Revision
	sensing   string  // of its model, "" when the model is not in the catalogue
	walked    *walked // a walk test after the one that its field is fitted to
}

// pictureOf reads what is needed in a constant number of statements, and whether devices that are fitted to a walk test were walked again.
func pictureOf(ctx context.Context, tx Tx, doorID uuid.UUID, asOf AsOf) (picture, error) {
	p, err := pictureSet(ctx, tx, doorID, asOf, asOf)
	if err != nil {
		return p, err
	}
	return p, p.readWalks(ctx, tx, asOf)
}

// pictureSet is pictureOf with devices mounted and set as of a time of their own, and without walk tests since.
func pictureSet(ctx context.Context, tx Tx, doorID uuid.UUID, asOf, set AsOf) (picture, error) {
	p := picture{models: map[uuid.UUID]Model{}, antennas: map[uuid.UUID]Antenna{}, accessories: map[uuid.UUID]Accessory{}}
	var err error
	if p.door, err = tx.DoorByID(ctx, doorID, asOf); err != nil {
		return p, err
	}
	if p.components, err = tx.ComponentsOfDoor(ctx, doorID, asOf); err != nil {
		return p, err
	}
	revisions, err := tx.PresentRevisions(ctx, doorID, set)
	if err != nil {
		return p, err
	}
	if err := p.readCatalogue(ctx, tx, revisions, asOf); err != nil {
		return p, err
	}
	p.place(revisions)
	return p, nil
}

// picturesOf is pictureOf as things stand now, for many doors in as many statements.
func picturesOf(ctx context.Context, tx Tx, doors []uuid.UUID) ([]picture, error) {
	all := picture{models: map[uuid.UUID]Model{}, antennas: map[uuid.UUID]Antenna{}, accessories: map[uuid.UUID]Accessory{}}
	found, err := tx.PresentDoors(ctx, doors)
	if err != nil {
		return nil, err
	}
	if all.components, err = tx.PresentComponents(ctx, doors); err != nil {
		return nil, err
	}
	revisions, err := tx.PresentRevisionsOf(ctx, doors)
	if err != nil {
		return nil, err
	}
	if err := all.readCatalogue(ctx, tx, revisions, AsOf{}); err != nil {
		return nil, err
	}
	components, revised := map[uuid.UUID][]Component{}, map[uuid.UUID][]Revision{}
	for _, c := range all.components {
		components[c.DoorID] = append(components[c.DoorID], c)
	}
	for _, r := range revisions {
		revised[r.DoorID] = append(revised[r.DoorID], r)
	}
	pictures := make([]picture, len(found))
	for i, d := range found {
		pictures[i] = picture{door: d, components: components[d.DoorID], models: all.models, antennas: all.antennas, accessories: all.accessories}
		pictures[i].place(revised[d.DoorID])
		if err := pictures[i].readWalks(ctx, tx, AsOf{}); err != nil {
			return nil, err
		}
	}
	return pictures, nil
}

// place puts the devices that are fitted where their revisions say.
func (p *picture) place(revisions []Revision) {
	for _, r := range revisions {
		i := slices.IndexFunc(p.components, func(c Component) bool { return c.ComponentID == r.ComponentID })
		if i < 0 || p.components[i].Fitting.State != "fitted" {
			continue
		}
		d := deviceInPlace{component: p.components[i], revision: r}
		if id := d.component.ModelID; id != nil {
			d.sensing = p.models[*id].Sensing
		}
		p.devices = append(p.devices, d)
	}
}

// readCatalogue reads the entries that components and revisions name, with the figures that were recorded as of then.
func (p *picture) readCatalogue(ctx context.Context, tx Tx, revisions []Revision, asOf AsOf) error {
	var models, antennas, accessories []uuid.UUID
	for _, c := range p.components {
		if c.ModelID != nil {
			models = append(models, *c.ModelID)
		}
	}
	for _, r := range revisions {
		if r.Device.AntennaID != nil {
			antennas = append(antennas, *r.Device.AntennaID)
		}
		accessories = append(accessories, r.Device.Accessories...)
	}
	m, err := tx.ModelsByIDs(ctx, models)
	if err != nil {
		return err
	}
	for _, one := range m {
		one = one.Corrected(asOf.Recorded)
		p.models[one.ModelID] = one
		for _, a := range one.Antennas {
			p.antennas[a.AntennaID] = a
		}
	}
	if slices.ContainsFunc(antennas, func(id uuid.UUID) bool { _, ok := p.antennas[id]; return !ok }) {
		return fault.New(fault.Conflict, "antenna_of_other_model")
	}
	if len(accessories) == 0 {
		return nil
	}
	a, err := tx.AccessoriesByIDs(ctx, accessories)
	for _, one := range a {
		p.accessories[one.AccessoryID] = one.Corrected(asOf.Recorded)
	}
	return err
}

// corrections names those of the catalogue that a device's field rests on.
func (p picture) corrections(d deviceInPlace) []uuid.UUID {
	ids := []uuid.UUID{}
	if id := d.component.ModelID; id != nil {
		for _, c := range p.models[*id].Corrections {
			ids = append(ids, c.CorrectionID)
		}
	}
	for _, id := range d.revision.Device.Accessories {
		for _, c := range p.accessories[id].Corrections {
			ids = append(ids, c.CorrectionID)
		}
	}
	return ids
}

// volume is the device as the field's physics sees it, or the names of the inputs that are missing: what is not
// known is never guessed.
func (p picture) volume(d DeviceFacts) (field.Device, []string) {
	missing := []string{}
	need := func(name string, q Quantity) float64 {
		if !q.Known() {
			missing = append(missing, name)
			return 0
		}
		return *q.Value
	}
	v := field.Device{
		Mount: field.Mount{HeightM: need("height_m", d.Mount.HeightM), TiltDeg: need("tilt_deg", d.Mount.TiltDeg), YawDeg: need("yaw_deg", d.Mount.YawDeg),
			OffsetXM: need("offset_x_m", d.Mount.OffsetXM), OffsetYM: need("offset_y_m", d.Mount.OffsetYM)},
		ReachDB: need("reach_db", d.Settings.ReachDB)}
	if d.AntennaID == nil {
		missing = append(missing, "antenna")
	} else {
		a := p.antennas[*d.AntennaID]
		v.Antenna = field.Antenna{AzimuthBeamwidthDeg: a.AzimuthBeamwidthDeg, ElevationBeamwidthDeg: a.ElevationBeamwidthDeg,
			AttenuationLimitDB: a.AttenuationLimitDB, BoresightRangeM: a.BoresightRangeM}
	}
	if len(missing) > 0 {
		return field.Device{}, missing
	}
	if d.Fitted != nil {
		d.Fitted.correct(&v)
	}
	list := make([]field.Accessory, len(d.Accessories))
	for i, id := range d.Accessories {
		list[i] = p.accessories[id].physics(v.Mount)
	}
	v, err := field.Apply(v, list)
	if err != nil {
		return field.Device{}, []string{"mount: " + err.Error()}
	}
	return v, nil
}

// extent computes what a device watches: on the floor what is radar's, and of the others, some of which have nothing on the floor, from where
// a grown person is told.
func (p picture) extent(d deviceInPlace, at time.Time) (Extent, []field.Polygon) {
	e := Extent{RevisionID: d.revision.RevisionID, DoorVersionID: p.door.Version.VersionID, ModelVersion: field.ModelVersion, Corrections: p.corrections(d), ComputedAt: at, Missing: []string{}}
	v, missing := p.watch(d)
	if len(missing) > 0 {
		e.Missing = missing
		return e, nil
	}
	var f field.Footprint
	if radar, ok := v.(field.Device); ok {
		f = radar.Footprint(0, true)
	} else {
		f = field.BodyFootprint(v, adultHeightM, true)
	}
	e.WidthM, e.DepthM, e.NearM, e.FarM, e.AreaM2 = &f.WidthM, &f.DepthM, &f.NearM, &f.FarM, &f.AreaM2
	return e, f.Polygons
}

// purpose says what a device is for: what its output is wired to decides, and where nobody recorded that, what it senses.
func (d deviceInPlace) purpose() string {
	switch d.component.Fitting.Input {
	case "activate":
		return "activation"
	case "protect", "inhibit", "hold":
		return "presence"
	}
	if d.component.Kind == "safety_device" {
		return "presence"
	}
	return "activation"
}

// sources are the devices that are wired to answer for a zone on a side. One whose model does not say how it senses is missing,
// not absent: nothing is claimed of it.
func (p picture) sources(side string, kind rulebook.ZoneKind) ([]field.Source, []string) {
	var sources []field.Source
	missing := []string{}
	for _, d := range p.devices {
		if s := d.component.Fitting.Side; s != side && s != "both" || d.purpose() != string(kind) {
			continue
		}
		v, lacks := p.watch(d)
		for _, m := range lacks {
			missing = append(missing, m+":"+d.component.ComponentID.String())
		}
		if len(lacks) == 0 {
			sources = append(sources, field.Source{Name: d.component.ComponentID.String(), Volume: v})
		}
	}
	for _, c := range p.components { // fitted to sense, but nobody has recorded how it is mounted and set
		known := slices.ContainsFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID == c.ComponentID })
		there := c.Fitting.State == "fitted" && (c.Fitting.Side == side || c.Fitting.Side == "both")
		if there && !known && c.senses() && (deviceInPlace{component: c}).purpose() == string(kind) {
			missing = append(missing, "settings:"+c.ComponentID.String())
		}
	}
	return sources, missing
}

// senses tells whether a component is a device.
func (c Component) senses() bool { return c.Kind == "sensor" || c.Kind == "safety_device" }

// zoneCover is a required zone of a side and how far it is covered.
type zoneCover struct {
	side    string
	zone    rulebook.RequiredZone
	missing []string
	cover   *field.Coverage // nil: not computable
}

// covers computes the coverage of every zone that the rule basis asks for on both sides.
func (p picture) covers(pack *rulebook.Pack) []zoneCover {
	var list []zoneCover
	for _, side := range []string{"a", "b"} {
		for _, z := range pack.Zones(rulebookFacts(p.door.Facts), rulebook.Side(side)) {
			c := zoneCover{side: side, zone: z, missing: []string{}}
			for _, g := range z.Gaps {
				c.missing = append(c.missing, g.Name)
			}
			sources, missing := p.sources(side, z.Kind)
			c.missing = append(c.missing, missing...)
			if z.Rect != nil && len(c.missing) == 0 {
				cover := field.Cover(c.asked(), sources)
				c.cover = &cover
			}
			list = append(list, c)
		}
	}
	return list
}

// asked is the zone in the terms of the field's physics; its place must be known.
func (c zoneCover) asked() field.Zone {
	r := c.zone.Rect
	z := field.Zone{X0M: r.X0M, X1M: r.X1M, Y0M: r.Y0M, Y1M: r.Y1M, BodyHeightM: c.zone.BodyHeightM, Purpose: field.Purpose(c.zone.Kind)}
	if c.zone.HeldS != nil {
		z.StillS = *c.zone.HeldS
	}
	return z
}

// coverage is the recorded form of a zone's cover.
func (c zoneCover) coverage(pack *rulebook.Pack, inputs string, at time.Time) Coverage {
	out := Coverage{Side: c.side, Zone: c.zone.ID, InputsSHA256: inputs, ModelVersion: field.ModelVersion, RulePack: pack.ID, ComputedAt: at, Missing: c.missing, Unfit: []string{}}
	if c.cover != nil {
		gap := 0.0
		for _, g := range c.cover.Gaps {
			gap = max(gap, g.CircleM)
		}
		shortfall := c.cover.Shortfall()
		out.RequiredM2, out.CoveredShare, out.GapM, out.Shortfall = &c.cover.AreaM2, &c.cover.CoveredShare, &gap, &shortfall
		out.Unfit = append(out.Unfit, c.cover.Unfit...)
	}
	return out
}

// ownLeaf says whether a device sees the door's own moving leaf: not_seen, seen, masked (the control ignores it
// meanwhile), not_computable.
func (p picture) ownLeaf(d deviceInPlace) string {
	seen, computable := p.seesLeaf(d)
	switch {
	case seen && d.component.Fitting.InhibitedWhileMoving != nil && *d.component.Fitting.InhibitedWhileMoving:
		return "masked"
	case seen:
		return "seen"
	case !computable:
		return "not_computable"
	}
	return "not_seen"
}

// leafSurface is a leaf as it moves on a side; nil when it opens away from it, or nothing is computed for its motion yet. It is not known without
// the leaf's and the opening's measures, and where it is hinged.
func (p picture) leafSurface(l Leaf, side string) (surface field.Leaf, known bool) {
	opening := p.door.Facts.ClearWidthM
	if !opening.Known() || !l.WidthM.Known() || !l.HeightM.Known() {
		return nil, false
	}
	mirror := 1.0 // hinges are told as somebody on side A sees them who looks at the door: their left is +x in A's frame
	if side == "b" {
		mirror = -1
	}
	jamb := *opening.Value / 2 * mirror
	turns := l.Motion == "swing" || l.Motion == "fold"
	switch {
	case turns && (l.Hinge == "unknown" || l.OpensTowards == "unknown"):
		return nil, false
	case turns && (l.OpensTowards == side || l.OpensTowards == "both"):
		hinge, towards := jamb, -mirror
		if l.Hinge == "right" {
			hinge, towards = -jamb, mirror
		}
		if l.Motion == "fold" {
			return field.FoldingLeaf{HingeXM: hinge, TowardsX: towards, WidthM: *l.WidthM.Value, HeightM: *l.HeightM.Value, OpensToDeg: 90}, true
		}
		return field.SwingLeaf{HingeXM: hinge, TowardsX: towards, WidthM: *l.WidthM.Value, HeightM: *l.HeightM.Value, OpensToDeg: 90}, true
	case l.Motion == "slide":
		half := *opening.Value / 2
		return field.SlidingLeaf{FromXM: -half, ToXM: half, HeightM: *l.HeightM.Value}, true
	}
	return nil, true
}

// causes names what falls short by computation: the message finding.<code> has the text.
func (p picture) causes(covers []zoneCover) []string {
	var causes []string
	for _, c := range covers {
		if c.cover != nil && c.cover.Shortfall() {
			causes = append(causes, "zone_not_covered:"+c.side+":"+c.zone.ID)
		}
	}
	for _, d := range p.devices {
		side := d.component.Fitting.Side
		if p.ownLeaf(d) == "seen" {
			causes = append(causes, "own_leaf_seen:"+side+":"+d.component.ComponentID.String())
		}
		if d.sensing == "radar" && d.walked != nil {
			causes = append(causes, d.drifted(side)...)
		}
		v, missing := p.watch(d)
		if len(missing) == 0 && (d.sensing == "radar" || d.purpose() == "activation" && v.Senses().Purpose != field.KnowingAct) {
			for i, z := range p.door.Facts.Side(side).KeptClear {
				if area, _ := field.Overlap(field.Zone{X0M: z.X0M, X1M: z.X1M, Y0M: z.Y0M, Y1M: z.Y1M, BodyHeightM: adultHeightM}, v); area > 0.01 {
					causes = append(causes, fmt.Sprintf("kept_clear_watched:%s:%d:%s", side, i+1, d.component.ComponentID))
				}
			}
		}
	}
	return causes
}

// adultHeightM is the height of a passer-by whom a kept-clear zone is meant for: our own choice.
const adultHeightM = 1.7

// recompute brings up to date what the devices of a door watch, how far its zones are covered, and the advisory
// findings that follow, in the transaction of the change that caused it.
func (f *Fleet) recompute(ctx context.Context, tx Tx, by identity.Actor, doorID uuid.UUID) error {
	if late, ok := tx.(recomputesLater); ok && late.recomputeLater(doorID) {
		return nil
	}
	p, err := pictureOf(ctx, tx, doorID, AsOf{})
	if err != nil {
		return err
	}
	c, err := f.compute(p, f.coversOf)
	if err != nil {
		return err
	}
	if len(c.extents) > 0 {
		if err := tx.InsertExtents(ctx, c.extents); err != nil {
			return err
		}
	}
	if err := tx.PutCoverages(ctx, doorID, c.coverages); err != nil {
		return err
	}
	return f.settleComputed(ctx, tx, doorID, c.causes)
}

// computed is everything that follows from the picture of a door.
type computed struct {
	extents   []Extent
	coverages []Coverage // never nil
	causes    []string   // of findings
	inputs    string     // the hash of everything that the coverages were computed from
}

// compute gives what follows from the picture of a door; the covers come from coversOf, or afresh.
func (f *Fleet) compute(p picture, coversOf func(picture, *rulebook.Pack) ([]zoneCover, string)) (computed, error) {
	now := f.Now()
	c := computed{coverages: []Coverage{}}
	pack, err := f.basisOf(p.door.Facts)
	if err != nil {
		return c, err
	}
	for _, d := range p.devices {
		e, _ := p.extent(d, now)
		c.extents = append(c.extents, e)
	}
	covers, inputs := coversOf(p, pack)
	for _, one := range covers {
		c.coverages = append(c.coverages, one.coverage(pack, inputs, now))
	}
	c.causes, c.inputs = p.causes(covers), inputs
	return c, nil
}

// coversOf gives the coverage of every zone with the hash of what it was computed from.
func (f *Fleet) coversOf(p picture, pack *rulebook.Pack) (covers []zoneCover, inputs string) {
	inputs = p.inputs(pack)
	covers, ok := f.covers.Get(inputs)
	if !ok {
		covers = p.covers(pack)
		f.covers.Add(inputs, covers)
	}
	return covers, inputs
}

// inputs is the hash of everything that coverage is computed from: none of it changes under its id.
func (p picture) inputs(pack *rulebook.Pack) string {
	hash := sha256.New()
	fmt.Fprintln(hash, p.door.Version.VersionID, pack.Digest, field.ModelVersion)
	for _, c := range p.components {
		fmt.Fprintln(hash, c.Version.VersionID)
	}
	for _, d := range p.devices {
		fmt.Fprintln(hash, d.revision.RevisionID)
		if fit := d.revision.Device.Fitted; fit != nil {
			fmt.Fprintln(hash, fit.EntryID)
		}
		for _, id := range p.corrections(d) {
			fmt.Fprintln(hash, id)
		}
	}
	return hex.EncodeToString(hash.Sum(nil))
}

// Watched is what one device watches now.
type Watched struct {
	RevisionID uuid.UUID
	Side       string
	Extent     Extent
	Fitted     *Fitted // the walk test that it rests on
	Polygons   [][][][2]float64
	OwnLeaf    string
	Leaves     []LeafSight // for whom OwnLeaf is
}

// Watched computes what a device watches now, with its outline.
func (f *Fleet) Watched(ctx context.Context, by identity.Actor, componentID uuid.UUID) (w Watched, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		c, err := tx.ComponentByID(ctx, componentID, AsOf{})
		if err != nil {
			return err
		}
		p, err := pictureOf(ctx, tx, c.DoorID, AsOf{})
		if err != nil {
			return err
		}
		i := slices.IndexFunc(p.devices, func(d deviceInPlace) bool { return d.component.ComponentID == componentID })
		if i < 0 {
			return fault.New(fault.NotFound, "settings_not_recorded")
		}
		d := p.devices[i]
		extent, polygons := p.extent(d, f.Now())
		w = Watched{RevisionID: d.revision.RevisionID, Side: d.component.Fitting.Side, Extent: extent, Fitted: d.revision.Device.Fitted, Polygons: rings(polygons)}
		if by.Role.Staff() { // a finding of computation alone is internal
			w.OwnLeaf = p.ownLeaf(d)
			w.Leaves, _ = p.leafSights(d)
		}
		return nil
	})
	return w, err
}

// rings gives polygons as plain numbers, never nil.
func rings(polygons []field.Polygon) [][][][2]float64 {
	out := make([][][][2]float64, len(polygons))
	for i, p := range polygons {
		out[i] = p
	}
	return out
}

// Coverages gives the recorded coverage of a door's zones.
func (f *Fleet) Coverages(ctx context.Context, by identity.Actor, doorID uuid.UUID) (list []Coverage, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.DoorByID(ctx, doorID, AsOf{}); err != nil {
			return err
		}
		list, err = tx.CoveragesOfDoor(ctx, doorID)
		return err
	})
	return list, err
}

// physics is the accessory in the terms of internal/field. A ceiling recess is flush with the ceiling that the
// sensor's recorded height already is.
func (a Accessory) physics(m field.Mount) field.Accessory {
	out := field.Accessory{Name: a.Name, CutOffDeg: a.Effect.CutOffDeg, EdgeAngleDeg: a.Effect.EdgeAngleDeg,
		AzimuthBeamwidthDeg: a.Effect.AzimuthBeamwidthDeg, ElevationBeamwidthDeg: a.Effect.ElevationBeamwidthDeg}
	if a.Effect.OutM != nil {
		out.OutM = *a.Effect.OutM
	}
	if a.Effect.LossDB != nil {
		out.LossDB = *a.Effect.LossDB
	}
	return out
}
