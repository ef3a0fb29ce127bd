package words

import (
	"html"
	"strings"
)

// MailHTML writes the plain text of a mail as HTML that says the same: paragraphs between blank lines, a line underlined
// with dashes as a heading, lines that begin with "- " as a list, lines of "Label:  value" as a table. Everything is
// escaped; nothing is loaded from anywhere.
func MailHTML(language, subject, text string) string {
	var out strings.Builder
	out.WriteString(`<!DOCTYPE html><html lang="` + html.EscapeString(language) + `"><head><meta charset="utf-8"><title>` + html.EscapeString(subject) + "</title></head><body>\n")
	for block := range strings.SplitSeq(strings.ReplaceAll(text, "\r\n", "\n"), "\n\n") {
		if lines := strings.Split(strings.Trim(block, "\n"), "\n"); strings.TrimSpace(block) != "" {
			mailBlock(&out, lines)
		}
	}
	out.WriteString("</body></html>\n")
	return out.String()
}

func mailBlock(out *strings.Builder, lines []string) {
	if len(lines) > 1 && len(lines[1]) > 0 && strings.Trim(lines[1], "-") == "" {
		out.WriteString("<h2>" + html.EscapeString(lines[0]) + "</h2>\n")
		if lines = lines[2:]; len(lines) == 0 {
			return
		}
	}
	switch {
	case all(lines, func(l string) bool { return strings.HasPrefix(l, "- ") }):
		out.WriteString("<ul>\n")
		for _, l := range lines {
			out.WriteString("<li>" + html.EscapeString(l[2:]) + "</li>\n")
		}
		out.WriteString("</ul>\n")
	case all(lines, func(l string) bool { _, _, is := labelled(l); return is }):
		out.WriteString("<table>\n")
		for _, l := range lines {
			label, value, _ := labelled(l)
			out.WriteString("<tr><th align=\"left\">" + html.EscapeString(label) + "</th><td>" + html.EscapeString(value) + "</td></tr>\n")
		}
		out.WriteString("</table>\n")
	default:
		for i, l := range lines {
			lines[i] = html.EscapeString(l)
		}
		out.WriteString("<p>" + strings.Join(lines, "<br>\n") + "</p>\n")
	}
}

// labelled reads "Label:  value".
func labelled(line string) (label, value string, is bool) {
	label, value, is = strings.Cut(line, ":  ")
	return label, strings.TrimSpace(value), is && label != "" && len(label) <= 30
}

func all(lines []string, is func(string) bool) bool {
	for _, l := range lines {
		if !is(l) {
			return false
		}
	}
	return true
}
