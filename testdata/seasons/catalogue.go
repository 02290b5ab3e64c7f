package seasons

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
)

// catalogue is what the story needs of catalogue.csv.
type catalogue struct {
	items  []item // as in the file
	byPart map[string]item
}

type item struct {
	part, group, unit string
	serialised        bool
	shelfLifeDays     int // 0 = none
	dangerous         bool
	priceCents        int
}

func readCatalogue(data []byte) (catalogue, error) {
	c := catalogue{byPart: map[string]item{}}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		return c, fmt.Errorf("catalogue.csv: %w", err)
	}
	column := map[string]int{}
	for i, row := range rows {
		if i == 0 {
			for j, name := range row {
				column[name] = j
			}
			continue
		}
		it, err := readItem(row, column)
		if err != nil {
			return c, fmt.Errorf("catalogue.csv:%d: %w", i+1, err)
		}
		c.items = append(c.items, it)
		c.byPart[it.part] = it
	}
	return c, nil
}

func readItem(row []string, column map[string]int) (item, error) {
	it := item{
		part:       row[column["part_number"]],
		group:      row[column["group"]],
		unit:       row[column["unit_of_issue"]],
		serialised: row[column["serialised"]] == "yes",
		dangerous:  row[column["un_number"]] != "",
	}
	var err error
	if it.priceCents, err = strconv.Atoi(row[column["price_cents"]]); err != nil {
		return it, fmt.Errorf("price_cents: %w", err)
	}
	if life := row[column["shelf_life_days"]]; life != "" {
		if it.shelfLifeDays, err = strconv.Atoi(life); err != nil {
			return it, fmt.Errorf("shelf_life_days: %w", err)
		}
	}
	return it, nil
}
