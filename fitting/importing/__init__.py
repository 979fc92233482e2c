"""Foreign tables into a season: what a file likely means, what must be asked, which rows follow.

`book` turns a file's bytes into sheets of cells (`text` does it for CSV and its kin), `layout`
finds a sheet's header and rows, `words`, `dates` and `numbers` read headers and cells, `columns`
says what each column may be, `proposal` puts it together with what was chosen or remembered,
`entries` makes a season's rows of it, `merge` holds them against those that are there, `memory`
keeps a shape in season.toml. Pure: bytes and choices in, facts out.
"""
