// Package field computes what a mounted, set device watches, and checks it against the door: its field on a plane, where a
// body is seen, whether it sees the door's own leaf, and which part of a required zone stays unwatched.
//
// It is pure: a mounted, set device in, polygons and checks out. "Field" always means the area that a device watches.
//
// # The frame
//
// Each side of a door has its own frame. The origin is the middle of the opening, on the finished floor, in the mid-plane of
// the closed leaf. x runs along the opening, y away from the door into that side, z up. It is right-handed: somebody who
// stands in the opening with the door behind them has +x on their right, so a point at +x on side A is at −x on side B.
//
//	       seen from above                        seen from the side
//
//	           wall   opening   wall              z
//	       ████████▏────┼────▕████████            │  s  the sensor at height_m, offset_y_m from the door
//	−x  ◄───────────────┼───────────────►  +x     │ ╱▏╲
//	                    │ ╲                       │╱ ▏ ╲  boresight
//	                    │  ╲ aim                  ▐  ▏tilt╲
//	                    │yaw╲                     ▐  ▏     ╲
//	                    │    ╲                    ▐  ▏      ╲
//	                    ▼     ╲               ────┴──┴───────╲────►  y
//	                   +y                     closed leaf     far_m
//
// tilt_deg is counted from straight down (0) to the horizontal (90). yaw_deg turns the aim about the vertical, positive
// towards +x; a sensor that looks back at the door has yaw 180. Metres, degrees, decibels; an angle inside a name without a
// unit is in radians.
//
// # The model of a motion sensor (Doppler radar)
//
// For a point in the direction (φ, θ) off the boresight, the one-way attenuation is the parabolic element pattern of
// 3GPP TR 38.901 with one cap on the sum,
//
//	A = min( 12·(φ/azimuth beamwidth)² + 12·(θ/elevation beamwidth)², attenuation_limit_db )
//
// and a body is detectable at the distance r where r ≤ range·10^(−A/20 + reach_db/40), because an echo loses the antenna's
// attenuation twice and falls with r⁴ (radar equation). No reflections and no shadow of the header or of furniture are
// computed; glass and an open door let the beam through. A walk test corrects the model.
//
// # How the boundary is found
//
// The cap splits the volume in two: a ball about the sensor (the floor that the side lobes make), which cuts a plane in a
// disc, and the lobe without a cap. On a plane, the directions of one φ are a straight line through the point where the
// antenna's vertical axis meets the plane, and along that line the condition is convex in θ: it holds on one interval or
// nowhere. So the lobe is swept by φ and its two ends on each line are found by Newton steps that cannot miss; the sweep is
// refined until chords are true to a millimetre. Crossings with the disc, with the door's plane and with the planes that
// accessories cut along are solved for on the curve itself and become vertices. See lobe.go and ring.go.
//
// # What moves
//
// motion.go follows somebody on a path and says where they trigger, how long they hold the output, and what they lack where they do not; approach.go
// holds that against the time that the door takes; passing.go counts who merely passes, and what blows about; stroke.go follows a leaf by the same
// criteria, leaf.go by its geometry alone; light.go says at which angles a leaf stands in the light of a device that is no radar, also of one that the
// leaf carries; arrive.go asks for those who come and pass of devices of any principle; beyond.go looks through the open doorway and at a neighbour's field; shake.go has the shaking header, what lamps look like,
// and devices that face each other. Everybody is an upright line of echoes, each followed by itself; nothing is known of limbs that swing, of
// reflections, or of what a flat leaf throws aside. Wings of a revolving door are not computed.
//
// # The model meets the door
//
// WalkTest.Fit corrects range and tilt (or what else is set free) by the marks of a walk test, robustly, and says how surely, what the marks leave
// open, which further mark would help, and what a result outside of the tolerances asks to measure again.
//
// # To add
//
// To add an accessory: nothing here if its effects are among those of Accessory; it is a row of the company's catalogue. A
// new physical effect is a member of Accessory, its line in Apply and in Accessory.faults, and a test of what it does to
// a footprint.
//
// To add a parameter that a walk test fits: its line in parameterFacts.
//
// To add another sensing principle: one file with a type that has the methods of Volume. Bodies, zones and coverage then
// work with it; they know nothing about radar. What is made of light has the methods of Lit besides. Those that are here: Device (radar), SpotGrid, Curtain, Beam, Mat, Plate.
package field
