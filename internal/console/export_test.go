package console

// Patterns are the addresses of every page and form.
func (c *Console) Patterns() (list []string) {
	for _, r := range c.routes() {
		list = append(list, r.pattern)
	}
	return list
}
