package advice

import (
	"encoding/json"
	"os"
	"testing"
)

// FuzzParse: whatever is read is answered and can be written down.
func FuzzParse(f *testing.F) {
	whole, err := os.ReadFile("../../cmd/lintel/testdata/advise.json")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(whole)
	f.Add([]byte(`{"openings":[{"name":"a","clear_width_m":1,"opening_time_s":1,"header":{"height_m":2.2},"leaves":[{"name":"own","turns":{"towards_x":1,"width_m":1,"height_m":2,"opens_to_deg":90},"at":{"y_m":3,"turn_deg":180}}],"shake":{"amplitude_m":0.001,"frequency_hz":20},"blown":[{"name":"drop","cross_section_db":-38,"speed_mps":6,"falls":true}]}],"models":[{"name":"m","antennas":[{"name":"n","azimuth_beamwidth_deg":30,"elevation_beamwidth_deg":30,"attenuation_limit_db":25,"boresight_range_m":5}],"tilt_deg":[30]}]}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		q, err := Parse(text)
		if err != nil || q.Size() > 20 {
			return
		}
		if _, err := json.Marshal(Advise(q)); err != nil {
			t.Fatal(err)
		}
	})
}
