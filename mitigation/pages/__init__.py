"""Parts that several views of cases share: rows, order, columns."""
