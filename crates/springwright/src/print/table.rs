//! Rows under headings, columns aligned.

/// Characters a cell is cut at: a note would push everything else off the screen.
const WIDEST: usize = 48;

/// A table being filled.
pub(super) struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    pub(super) fn new(headings: impl IntoIterator<Item = impl Into<String>>) -> Self {
        Self {
            rows: vec![headings.into_iter().map(Into::into).collect()],
        }
    }

    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = impl Into<String>>) {
        self.rows.push(cells.into_iter().map(|cell| cut(cell.into())).collect());
    }

    /// The lines: numbers to the right, words to the left.
    pub(super) fn lines(&self) -> impl Iterator<Item = String> {
        let count = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        let cells = |column: usize| self.rows.iter().filter_map(move |row| row.get(column));
        let widths: Vec<_> = (0..count)
            .map(|column| cells(column).map(|cell| cell.chars().count()).max().unwrap_or(0))
            .collect();
        let numeric: Vec<_> = (0..count)
            .map(|column| cells(column).skip(1).all(|cell| is_figure(cell)))
            .collect();
        self.rows.iter().map(move |row| {
            let cells = row.iter().zip(&widths).zip(&numeric).map(|((cell, &width), &numeric)| {
                if numeric {
                    format!("{cell:>width$}")
                } else {
                    format!("{cell:width$}")
                }
            });
            cells.collect::<Vec<_>>().join("  ")
        })
    }
}

fn is_figure(cell: &str) -> bool {
    cell.is_empty() || cell.starts_with(|first: char| first.is_ascii_digit() || first == '-' || first == '+')
}

fn cut(cell: String) -> String {
    if cell.chars().count() <= WIDEST {
        return cell;
    }
    cell.chars().take(WIDEST - 1).chain(['…']).collect()
}
