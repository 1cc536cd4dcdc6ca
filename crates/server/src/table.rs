//! Tables for people: columns padded to their widest cell, figures to the right, remarks beneath their row.

use std::fmt;

/// Which side the cells of a column stand on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Words.
    Left,
    /// Figures.
    Right,
}

/// A table that is printed by its `Display`.
#[derive(Debug, Clone, Default)]
pub struct Table {
    headings: Vec<(String, Side)>,
    rows: Vec<Row>,
}

#[derive(Debug, Clone)]
struct Row {
    cells: Vec<String>,
    beneath: Vec<String>,
}

impl Table {
    /// A table with these columns.
    pub fn new<'a>(headings: impl IntoIterator<Item = (&'a str, Side)>) -> Self {
        let headings = headings.into_iter().map(|(text, side)| (text.to_owned(), side)).collect();
        Self { headings, rows: Vec::new() }
    }

    /// Adds a row.
    pub fn row<T: Into<String>>(&mut self, cells: impl IntoIterator<Item = T>) -> &mut Self {
        let cells = cells.into_iter().map(Into::into).collect();
        self.rows.push(Row { cells, beneath: Vec::new() });
        self
    }

    /// Adds a remark beneath the last row.
    pub fn beneath(&mut self, text: impl Into<String>) -> &mut Self {
        if let Some(row) = self.rows.last_mut() {
            row.beneath.push(text.into());
        }
        self
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// As a table of a page, figures to the right.
    pub fn html(&self) -> String {
        let cell = |name: &str, text: &str, side: Side| {
            let class = if side == Side::Right { " class=\"n\"" } else { "" };
            format!("<{name}{class}>{}</{name}>", escaped(text))
        };
        let mut page = String::from("<table>\n<tr>");
        page.extend(self.headings.iter().map(|(text, side)| cell("th", text, *side)));
        page.push_str("</tr>\n");
        for row in &self.rows {
            page.push_str("<tr>");
            page.extend(
                row.cells.iter().zip(&self.headings).map(|(text, (_, side))| cell("td", text, *side)),
            );
            page.push_str("</tr>\n");
            for text in &row.beneath {
                page.push_str("<tr><td colspan=\"");
                page.push_str(&self.headings.len().to_string());
                page.push_str("\">");
                page.push_str(&escaped(text));
                page.push_str("</td></tr>\n");
            }
        }
        page.push_str("</table>\n");
        page
    }

    fn widths(&self) -> Vec<usize> {
        let mut widths: Vec<usize> = self.headings.iter().map(|(text, _)| width(text)).collect();
        for row in &self.rows {
            for (widest, cell) in widths.iter_mut().zip(&row.cells) {
                *widest = (*widest).max(width(cell));
            }
        }
        widths
    }

    fn line<'a>(&self, cells: impl Iterator<Item = &'a str>, widths: &[usize]) -> String {
        let mut line = String::new();
        for ((cell, (_, side)), wide) in cells.zip(&self.headings).zip(widths) {
            let pad = " ".repeat(wide.saturating_sub(width(cell)));
            if !line.is_empty() {
                line.push_str("  ");
            }
            match side {
                Side::Left => line.extend([cell, &pad]),
                Side::Right => line.extend([pad.as_str(), cell]),
            }
        }
        line.trim_end().to_owned()
    }
}

/// A text that stands in a page as it is written.
pub fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            other => safe.push(other),
        }
    }
    safe
}

/// What is printed here are letters, figures and a few signs, each one column wide.
fn width(text: &str) -> usize {
    text.chars().count()
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let widths = self.widths();
        writeln!(f, "{}", self.line(self.headings.iter().map(|(text, _)| text.as_str()), &widths))?;
        let rule: Vec<String> = widths.iter().map(|wide| "-".repeat(*wide)).collect();
        writeln!(f, "{}", self.line(rule.iter().map(String::as_str), &widths))?;
        for row in &self.rows {
            writeln!(f, "{}", self.line(row.cells.iter().map(String::as_str), &widths))?;
            for text in &row.beneath {
                writeln!(f, "    {text}")?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_stand_to_the_right() {
        let mut table = Table::new([("lot", Side::Left), ("on hand", Side::Right), ("until", Side::Left)]);
        table.row(["L-1", "1.5 kg", "2026-03-31"]).beneath("it is on hold");
        table.row(["L-2000", "250 kg", ""]);
        let expected = "\
lot     on hand  until
------  -------  ----------
L-1      1.5 kg  2026-03-31
    it is on hold
L-2000   250 kg
";
        assert_eq!(table.to_string(), expected);
    }

    #[test]
    fn a_page_shows_what_was_written() {
        let mut table = Table::new([("lot", Side::Left), ("on hand", Side::Right)]);
        table.row(["<L&1>", "1 kg"]);
        assert_eq!(
            table.html(),
            "<table>\n<tr><th>lot</th><th class=\"n\">on hand</th></tr>\n\
             <tr><td>&lt;L&amp;1&gt;</td><td class=\"n\">1 kg</td></tr>\n</table>\n"
        );
    }
}
