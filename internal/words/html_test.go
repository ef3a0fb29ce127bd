package words

import (
	"html"
	"regexp"
	"strings"
	"testing"
)

func TestHTMLOfAMailSaysWhatItsTextSays(t *testing.T) {
	text := "Doors are <overdue> & late.\nSee below.\n\nHarbour \"Library\"\n-----------------\n- Door 1: by 3 days\n- Door 2: by a day\n\nSite:     Arcade\nFinding:  closes on people\n\nKestrel\n"
	want := `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>A &lt;b&gt; subject</title></head><body>
<p>Doors are &lt;overdue&gt; &amp; late.<br>
See below.</p>
<h2>Harbour &#34;Library&#34;</h2>
<ul>
<li>Door 1: by 3 days</li>
<li>Door 2: by a day</li>
</ul>
<table>
<tr><th align="left">Site</th><td>Arcade</td></tr>
<tr><th align="left">Finding</th><td>closes on people</td></tr>
</table>
<p>Kestrel</p>
</body></html>
`
	if got := MailHTML("en", "A <b> subject", text); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

var tag = regexp.MustCompile(`<[^>]*>`)

func FuzzMailHTML(f *testing.F) {
	for _, seed := range []string{"", "a\n\nb", "x\n---\n- y", "<script>alert(1)</script>", "Site:  <b>\n", "- \n- -", "\n\n\n", "a\r\n\r\nb", "-\n-"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got := MailHTML("en", "s", text)
		for _, m := range tag.FindAllString(got, -1) {
			name := strings.Trim(strings.SplitN(m, " ", 2)[0], "</>")
			if !strings.Contains(" !DOCTYPE html head meta title body h2 ul li table tr th td p br ", " "+name+" ") {
				t.Fatalf("%q has the tag %s", text, m)
			}
		}
		letters := func(s string) string {
			return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(" \r\n\t-:", r) || r == '\u00a0' || r == '\u0085' }), "")
		}
		body := got[strings.Index(got, "<body>"):]
		if said := html.UnescapeString(tag.ReplaceAllString(body, " ")); strings.ToValidUTF8(letters(said), "") != strings.ToValidUTF8(letters(text), "") && !strings.ContainsFunc(text, func(r rune) bool { return r > 0x7f || r < 0x20 && r != '\n' || r == '&' }) {
			t.Fatalf("%q became %q", text, said)
		}
	})
}
