//! Tables for a spreadsheet: RFC 4180, and no cell that it would take for a sum to work out.

use crate::http::problems::Fault;
use actix_web::{HttpResponse, HttpResponseBuilder, http::header};

/// A cell that a spreadsheet would take for a formula begins with an apostrophe; a code may begin like one.
pub(super) fn no_formula(cell: &str) -> String {
    match cell.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        true => format!("'{cell}"),
        false => cell.to_owned(),
    }
}

/// One line, with no formula in it.
pub(super) fn line<T: AsRef<str>>(cells: impl IntoIterator<Item = T>) -> Result<String, Fault> {
    let wrong = || Fault::went_wrong("The table could not be written down.");
    let mut to = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    to.write_record(cells.into_iter().map(|cell| no_formula(cell.as_ref()))).map_err(|_| wrong())?;
    let bytes = to.into_inner().map_err(|_| wrong())?;
    String::from_utf8(bytes).map_err(|_| wrong())
}

/// An answer that is kept as a file. A name may be of any code.
pub(super) fn file(name: &str) -> HttpResponseBuilder {
    let safe: String = name.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' }).collect();
    let mut answer = HttpResponse::Ok();
    answer
        .insert_header((header::CONTENT_TYPE, "text/csv; charset=utf-8; header=present"))
        .insert_header((header::CONTENT_DISPOSITION, format!("attachment; filename=\"{safe}.csv\"")))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"));
    answer
}

/// A whole table, its head first.
pub(super) fn whole<R, T>(name: &str, head: &[&str], rows: impl IntoIterator<Item = R>) -> Result<HttpResponse, Fault>
where
    R: IntoIterator<Item = T>,
    T: AsRef<str>,
{
    let mut body = line(head)?;
    for row in rows {
        body.push_str(&line(row)?);
    }
    Ok(file(name).body(body))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_is_never_a_formula_and_the_line_reads_back() {
        let cells = ["=1+1", "a \"word\", and\nmore", "-18", "\t=1", "plain"];
        let text = line(cells).unwrap();
        let mut read = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
        let back: Vec<String> = read.records().next().unwrap().unwrap().iter().map(str::to_owned).collect();
        assert_eq!(back, ["'=1+1", "a \"word\", and\nmore", "'-18", "'\t=1", "plain"]);
    }
}
