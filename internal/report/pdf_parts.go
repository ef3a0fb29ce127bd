package report

import "rsc.io/qr"

// masthead: who reports on what, and the code that leads back to the record.
func (s *sheet) masthead(m masthead) {
	const qrMM = 25.0
	width := s.width() - qrMM - 8
	y := marginMM + 1
	s.print(s.left(), y, m.Company, smallMM, true, Ink, Start)
	if m.CompanyLine != "" {
		for _, l := range wrap(s.clean(m.CompanyLine), width, smallMM, false) {
			y += smallMM * leading
			s.print(s.left(), y, l, smallMM, false, Soft, Start)
		}
	}
	y += 9
	s.print(s.left(), y, m.Title, 3.8, false, Ink, Start)
	y += 1
	for _, l := range wrap(s.clean(m.Name), width, 8, true) {
		y += 8
		s.print(s.left(), y, l, 8, true, Ink, Start)
	}
	for i, line := range m.Lines {
		size, tone := bodyMM, Soft
		if i == 0 {
			size, tone = 4, Ink
		}
		for _, l := range wrap(s.clean(line), width, size, false) {
			y += size * leading
			s.print(s.left(), y+0.8, l, size, false, tone, Start)
		}
	}
	s.square(m.Code, m.CodeCaption, s.right()-qrMM, marginMM-2, qrMM)
	s.y = max(y+4, marginMM+qrMM+4)
}

// square draws the code of a text as squares; a text too long for a code leaves it
// out, since what it says is printed anyway.
func (s *sheet) square(text, caption string, x, y, size float64) {
	c, err := qr.Encode(text, qr.M)
	if err != nil || text == "" {
		return
	}
	m := size / float64(c.Size)
	s.fill(0)
	for row := range c.Size {
		for from := 0; from < c.Size; from++ {
			to := from
			for to < c.Size && c.Black(to, row) {
				to++
			}
			if to > from {
				s.pdf.Rect(x+float64(from)*m, y+float64(row)*m, float64(to-from)*m, m, "F")
				from = to
			}
		}
	}
	s.print(x+size, y+size+3, caption, smallMM-0.3, false, Soft, End)
}

// part starts a new page.
func (s *sheet) part(title, line string) {
	s.waiting = ""
	s.newPage()
	s.pdf.Bookmark(s.clean(title), 0, s.y)
	s.inPart = true
	for _, l := range wrap(s.clean(title), s.width(), 5.6, true) {
		s.y += 5.6 * 1.1
		s.print(s.left(), s.y, l, 5.6, true, Ink, Start)
	}
	for _, l := range wrap(s.clean(line), s.width(), bodyMM, false) {
		s.y += bodyMM * leading
		s.print(s.left(), s.y+0.6, l, bodyMM, false, Soft, Start)
	}
	s.y += 4
}

// endPart starts a new page for what belongs to the whole.
func (s *sheet) endPart() {
	if s.inPart {
		s.waiting, s.inPart = "", false
		s.newPage()
	}
}

// states stand white on ink where they are grave; the rest in one frame.
func (s *sheet) states(list []stateText) {
	var framed []stateText
	for _, state := range list {
		if !state.Grave {
			framed = append(framed, state)
			continue
		}
		h := s.stateHeight(state, 5.2) + 5
		s.need(h)
		s.fill(Ink)
		s.pdf.Rect(s.left(), s.y, s.width(), h, "F")
		s.state(state, s.y+2, 5.2, White)
		s.y += h + 1.6
	}
	if len(framed) == 0 {
		return
	}
	h := 4.0
	for _, state := range framed {
		h += s.stateHeight(state, 3.6) + 1
	}
	s.need(h)
	s.pen(Pen{WidthMM: 0.5, Tone: Ink})
	s.pdf.Rect(s.left(), s.y, s.width(), h, "D")
	y := s.y + 1.6
	for _, state := range framed {
		y = s.state(state, y, 3.6, Ink) + 1
	}
	s.y += h + 1.6
}

// state prints what a state is and what it means below y, and gives where it ends.
func (s *sheet) state(state stateText, y, size float64, tone Tone) float64 {
	y += size * 1.15
	s.print(s.left()+5, y, state.Name, size, true, tone, Start)
	for _, l := range wrap(s.clean(state.Says), s.width()-10, bodyMM, false) {
		y += bodyMM * leading
		s.print(s.left()+5, y+0.5, l, bodyMM, false, tone, Start)
	}
	return y + 0.5
}

func (s *sheet) stateHeight(state stateText, size float64) float64 {
	return size*1.15 + float64(len(wrap(s.clean(state.Says), s.width()-10, bodyMM, false)))*bodyMM*leading + 0.5
}

func (s *sheet) strip(cells [][3]string) {
	w, deepest := s.width()/float64(len(cells)), 0.0
	s.need(18)
	top := s.y + 1.5
	for i, c := range cells {
		x, y := s.left()+float64(i)*w, top+smallMM*leading
		s.print(x, y, c[0], smallMM, false, Soft, Start)
		for _, l := range clipLines(wrap(s.clean(c[1]), w-4, 3.6, true), 3) {
			y += 3.6 * leading
			s.print(x, y+0.3, l, 3.6, true, Ink, Start)
		}
		if c[2] != "" {
			for _, l := range wrap(s.clean(c[2]), w-4, smallMM, false) {
				y += smallMM * leading
				s.print(x, y+0.8, l, smallMM, false, Ink, Start)
			}
		}
		deepest = max(deepest, y)
	}
	s.y = deepest + 1
}

// drawing places a scene below what there is.
func (s *sheet) drawing(sc *Scene) {
	s.need(sc.mm(sc.Bounds().Height()) + 5)
	s.y += 5
	s.y += s.draw(sc, s.left(), s.y) + 4
}

// clip cuts text to a width, with a sign that it was cut.
func clip(text string, widthMM, size float64) string {
	lines := wrap(text, widthMM, size, false)
	if len(lines) == 1 {
		return text
	}
	return lines[0] + " …"
}

func clipLines(lines []string, n int) []string {
	if len(lines) <= n {
		return lines
	}
	return append(append([]string(nil), lines[:n-1]...), lines[n-1]+" …")
}
