//! The chessboard, and a sheet to print it from.

use crate::error::{Error, ErrorKind, Result};
use std::fmt::{self, Write};

/// A chessboard: what is counted and measured on the print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chessboard {
    /// Inner corners along a row: one less than squares.
    pub columns: u32,
    /// Inner corners along a column.
    pub rows: u32,
    /// Side of a square, mm.
    pub square_mm: f64,
}

impl fmt::Display for Chessboard {
    /// In the words of a lens profile: `9x6 inner corners, 25 mm`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}x{} inner corners, {} mm", self.columns, self.rows, self.square_mm)
    }
}

impl Chessboard {
    /// Whether such a board can be.
    ///
    /// # Errors
    /// [`ErrorKind::Usage`] for fewer than six inner corners, or fewer than two along a side; for squares without a size.
    pub fn check(&self) -> Result<()> {
        let sensible = (2..=1000).contains(&self.columns) && (2..=1000).contains(&self.rows);
        if !sensible || self.columns * self.rows < 6 {
            let what = format!("a board of {} x {} inner corners cannot be used", self.columns, self.rows);
            return Err(Error::new(ErrorKind::Usage, what).help("9 x 6 (10 x 7 squares) is usual"));
        }
        if !(self.square_mm > 0.0 && self.square_mm.is_finite()) {
            return Err(Error::new(ErrorKind::Usage, format!("squares of {} mm cannot be", self.square_mm)));
        }
        Ok(())
    }

    /// Whether a photo of the board can be told from its mirror image: both sides have an even number of squares, not the same.
    ///
    /// Any other board of two colours is its own mirror image, turned at most.
    pub fn shows_mirroring(&self) -> bool {
        self.columns % 2 == 1 && self.rows % 2 == 1 && self.columns != self.rows
    }

    /// The board on a sheet of paper, upright or lying, whichever holds it.
    ///
    /// # Errors
    /// [`ErrorKind::Usage`] where the board cannot be or the paper does not hold it.
    ///
    /// # Example: a board to print
    /// ```
    /// use hoofgeo::calibrate::{Chessboard, Paper};
    /// let sheet = Chessboard { columns: 9, rows: 6, square_mm: 25.0 }.sheet(Paper::A4)?;
    /// assert_eq!((sheet.paper_mm(), sheet.board_mm()), ((297.0, 210.0), (250.0, 175.0)));
    /// std::fs::write(std::env::temp_dir().join("board.pdf"), sheet.to_pdf()).expect("can be written");
    /// # Ok::<(), hoofgeo::Error>(())
    /// ```
    pub fn sheet(&self, paper: Paper) -> Result<BoardSheet> {
        self.check()?;
        let board = (f64::from(self.columns + 1) * self.square_mm, f64::from(self.rows + 1) * self.square_mm);
        let (short, long) = paper.sides_mm();
        let fits = |(w, h): (f64, f64)| board.0 + 2.0 * MARGIN_MM <= w && board.1 + MARGIN_MM + FOOT_MM <= h;
        let Some(paper_mm) = [(long, short), (short, long)].into_iter().find(|&p| fits(p)) else {
            let what = format!(
                "the board measures {:.1} x {:.1} mm and does not fit {} ({short} x {long} mm) with its white border",
                board.0,
                board.1,
                paper.name()
            );
            return Err(Error::new(ErrorKind::Usage, what)
                .help("take smaller squares or fewer of them; 9x6 inner corners of 25 mm fit A4 and Letter lying"));
        };
        Ok(BoardSheet { board: *self, paper, paper_mm })
    }
}

/// White border of the board, mm: printers leave 4 to 6 mm of the paper's edge blank (common practice, no source), and the
/// corner detector needs white around the outer squares.
const MARGIN_MM: f64 = 8.0;
/// What the check length and its text take below the board, mm.
const FOOT_MM: f64 = 19.0;

/// Paper that a board is printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Paper {
    /// ISO 216: 210 x 297 mm.
    A4,
    /// ANSI/ASME Y14.1 size A: 8.5 x 11 inches.
    Letter,
}

impl Paper {
    /// Shorter and longer side, mm.
    pub const fn sides_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
        }
    }
}

/// A chessboard in true size on a sheet, with a line to measure after printing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoardSheet {
    board: Chessboard,
    paper: Paper,
    paper_mm: (f64, f64),
}

/// A black rectangle: left, top, width, height; mm from the sheet's top-left corner.
type Rectangle = [f64; 4];

/// Points to the millimetre: a PDF's unit is 1/72 inch.
const POINTS_PER_MM: f64 = 72.0 / 25.4;
/// Size of the text, mm.
const TEXT_MM: f64 = 3.2;
/// Thickness of the check line and length of its end strokes, mm.
const LINE_MM: (f64, f64) = (0.3, 4.0);

impl BoardSheet {
    /// Width and height of the sheet.
    pub fn paper_mm(&self) -> (f64, f64) {
        self.paper_mm
    }

    /// Width and height of the board, from the outer edges of its squares.
    pub fn board_mm(&self) -> (f64, f64) {
        let Chessboard { columns, rows, square_mm } = self.board;
        (f64::from(columns + 1) * square_mm, f64::from(rows + 1) * square_mm)
    }

    /// Length of the check line between the outer edges of its end strokes: the longest of whole 50 mm (of 10 mm on a
    /// small board) that the board is wide.
    pub fn check_mm(&self) -> f64 {
        let wide = self.board_mm().0.max(self.paper_mm.0 / 2.0);
        let step = if wide >= 50.0 { 50.0 } else { 10.0 };
        (wide / step).floor().max(1.0) * step
    }

    fn corner(&self) -> (f64, f64) {
        let (w, h) = self.board_mm();
        ((self.paper_mm.0 - w) / 2.0, (self.paper_mm.1 - FOOT_MM - h + MARGIN_MM) / 2.0)
    }

    /// The black squares. The one at the top left is black.
    pub fn squares_mm(&self) -> Vec<[f64; 4]> {
        let (left, top) = self.corner();
        let side = self.board.square_mm;
        let places = (0..=self.board.rows).flat_map(|j| (0..=self.board.columns).map(move |i| (i, j)));
        places
            .filter(|(i, j)| (i + j) % 2 == 0)
            .map(|(i, j)| [left + f64::from(i) * side, top + f64::from(j) * side, side, side])
            .collect()
    }

    /// Left end and height of the check line.
    fn check_line(&self) -> (f64, f64) {
        ((self.paper_mm.0 - self.check_mm()) / 2.0, self.corner().1 + self.board_mm().1 + 5.0)
    }

    fn line_rectangles(&self) -> [Rectangle; 3] {
        let (x, y) = self.check_line();
        let ((thick, stroke), length) = (LINE_MM, self.check_mm());
        [
            [x, y - thick / 2.0, length, thick],
            [x, y - stroke / 2.0, thick, stroke],
            [x + length - thick, y - stroke / 2.0, thick, stroke],
        ]
    }

    /// The lines of text below the check line, and the height of their feet, mm.
    fn texts(&self) -> [(String, f64); 2] {
        let (w, h) = self.board_mm();
        let y = self.check_line().1;
        [
            (
                format!(
                    "Print at 100 %, no scaling. After printing measure: line {} mm, board {w} x {h} mm.",
                    self.check_mm()
                ),
                y + 6.0,
            ),
            (
                format!(
                    "Chessboard of {} x {} inner corners ({} x {} squares of {} mm), {}. Glue it flat.",
                    self.board.columns,
                    self.board.rows,
                    self.board.columns + 1,
                    self.board.rows + 1,
                    self.board.square_mm,
                    self.paper.name()
                ),
                y + 10.0,
            ),
        ]
    }

    /// Text as large as the sheet's width allows. Helvetica's letters are about half as wide as they are high (its metrics:
    /// 0.50 on the average of English text).
    fn text_mm(&self) -> f64 {
        let longest = self.texts().iter().map(|(t, _)| t.chars().count()).max().unwrap_or(1);
        TEXT_MM.min((self.paper_mm.0 - 2.0 * MARGIN_MM) / (0.5 * longest as f64))
    }

    /// The sheet as SVG, in millimetres.
    pub fn to_svg(&self) -> String {
        let (w, h) = self.paper_mm;
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\">\n\
             <rect width=\"{w}\" height=\"{h}\" fill=\"white\"/>\n<g fill=\"black\">\n"
        );
        for [x, y, w, h] in self.squares_mm().into_iter().chain(self.line_rectangles()) {
            let _ = writeln!(
                svg,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
                short(x),
                short(y),
                short(w),
                short(h)
            );
        }
        svg += "</g>\n";
        for (text, y) in self.texts() {
            let _ = writeln!(
                svg,
                "<text x=\"{}\" y=\"{}\" font-family=\"Helvetica, Arial, sans-serif\" font-size=\"{}\" text-anchor=\"middle\">{text}</text>",
                short(w / 2.0),
                short(y),
                short(self.text_mm())
            );
        }
        svg + "</svg>\n"
    }

    /// The sheet as a PDF 1.4 of one page, drawn in millimetres.
    ///
    /// # Source
    /// ISO 32000-1:2008, sections 7.5 (structure of a file), 8.4 and 8.5 (matrix and paths), 9.4 and 9.6.2 (text, standard
    /// fonts).
    pub fn to_pdf(&self) -> Vec<u8> {
        let (w, h) = self.paper_mm;
        // One matrix makes the unit the millimetre; y runs upwards.
        let mut page = format!("{} 0 0 {} 0 0 cm\n0 g\n", short(POINTS_PER_MM), short(POINTS_PER_MM));
        for [x, y, width, height] in self.squares_mm().into_iter().chain(self.line_rectangles()) {
            let _ = writeln!(page, "{} {} {} {} re", short(x), short(h - y - height), short(width), short(height));
        }
        page += "f\n";
        for (text, y) in self.texts() {
            let half = 0.25 * self.text_mm() * text.chars().count() as f64;
            let text = text.replace('\\', "\\\\").replace('(', "\\(").replace(')', "\\)");
            let (size, x) = (short(self.text_mm()), short(w / 2.0 - half));
            let _ = writeln!(page, "BT /F1 {size} Tf {x} {} Td ({text}) Tj ET", short(h - y));
        }
        let objects = [
            "<< /Type /Catalog /Pages 2 0 R /ViewerPreferences << /PrintScaling /None >> >>".to_owned(),
            "<< /Type /Pages /Kids [3 0 R] /Count 1 >>".to_owned(),
            format!(
                "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {} {}] /Contents 4 0 R /Resources << /Font << /F1 5 0 R >> >> >>",
                short(w * POINTS_PER_MM),
                short(h * POINTS_PER_MM)
            ),
            format!("<< /Length {} >>\nstream\n{page}endstream", page.len()),
            "<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica /Encoding /WinAnsiEncoding >>".to_owned(),
        ];
        let mut pdf = "%PDF-1.4\n".to_owned();
        let mut table = "0000000000 65535 f \n".to_owned();
        for (i, object) in objects.iter().enumerate() {
            let _ = writeln!(table, "{:010} 00000 n ", pdf.len());
            let _ = write!(pdf, "{} 0 obj\n{object}\nendobj\n", i + 1);
        }
        let count = objects.len() + 1;
        let start = pdf.len();
        let _ = write!(
            pdf,
            "xref\n0 {count}\n{table}trailer\n<< /Size {count} /Root 1 0 R >>\nstartxref\n{start}\n%%EOF\n"
        );
        pdf.into_bytes()
    }
}

/// A number with no more digits than a printer can follow: 0.1 µm.
fn short(x: f64) -> String {
    let text = format!("{x:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    const USUAL: Chessboard = Chessboard { columns: 9, rows: 6, square_mm: 25.0 };

    /// The rectangles of a PDF's page in mm from its lower left corner, by its own matrix, and its size in mm.
    fn read_back(pdf: &[u8]) -> (Vec<Rectangle>, [f64; 2]) {
        let text = std::str::from_utf8(pdf).unwrap();
        let numbers = |s: &str| s.split_whitespace().filter_map(|w| w.parse::<f64>().ok()).collect::<Vec<_>>();
        let media = text.split("/MediaBox [").nth(1).unwrap().split(']').next().unwrap();
        let matrix = numbers(text.lines().find(|l| l.ends_with(" cm")).unwrap());
        let to_mm = |x: f64| x / 72.0 * 25.4;
        let unit = to_mm(matrix[0]);
        assert_eq!((matrix[0], matrix[1], matrix[4], matrix[5]), (matrix[3], 0.0, 0.0, 0.0));
        let rectangles = text.lines().filter(|l| l.ends_with(" re")).map(|l| {
            let v = numbers(l);
            [v[0] * unit, v[1] * unit, v[2] * unit, v[3] * unit]
        });
        let media = numbers(media);
        (rectangles.collect(), [to_mm(media[2]), to_mm(media[3])])
    }

    #[test]
    fn a_pdf_read_back_has_the_stated_size() {
        for (paper, size) in [(Paper::A4, [297.0, 210.0]), (Paper::Letter, [279.4, 215.9])] {
            let sheet = USUAL.sheet(paper).unwrap();
            let (rectangles, media) = read_back(&sheet.to_pdf());
            assert!((media[0] - size[0]).abs() < 1e-5 && (media[1] - size[1]).abs() < 1e-5, "{media:?}");
            let (squares, line) = rectangles.split_at(35);
            assert_eq!(line.len(), 3);
            let area: f64 = squares.iter().map(|r| r[2] * r[3]).sum();
            assert!((area - 35.0 * 625.0).abs() < 1e-2, "{area}");
            let left = squares.iter().map(|r| r[0]).fold(f64::INFINITY, f64::min);
            let right = squares.iter().map(|r| r[0] + r[2]).fold(0.0, f64::max);
            assert!((right - left - 250.0).abs() < 1e-3 && left > 8.0 && right < media[0] - 8.0);
            let check = line[2][0] + line[2][2] - line[1][0];
            assert!((check - sheet.check_mm()).abs() < 1e-3 && sheet.check_mm() == 250.0, "{check}");
            assert!(line.iter().chain(squares).all(|r| r[1] > 5.0 && r[1] + r[3] < media[1] - 8.0));
        }
    }

    /// The table of a PDF's objects points to their beginnings, and the stream is as long as it says.
    #[test]
    fn a_pdf_is_well_formed() {
        let pdf = String::from_utf8(USUAL.sheet(Paper::A4).unwrap().to_pdf()).unwrap();
        let start: usize = pdf.lines().rev().nth(1).unwrap().parse().unwrap();
        assert!(pdf[start..].starts_with("xref\n0 6\n"));
        for (i, entry) in pdf[start..].lines().skip(3).take(5).enumerate() {
            let at: usize = entry[..10].parse().unwrap();
            assert!(pdf[at..].starts_with(&format!("{} 0 obj", i + 1)), "{entry}");
        }
        let stream = pdf.split("stream\n").nth(1).unwrap().strip_suffix("end").unwrap();
        assert!(pdf.contains(&format!("/Length {} ", stream.len())));
    }

    #[test]
    fn a_board_too_large_for_the_paper_is_refused() {
        let large = Chessboard { square_mm: 28.0, ..USUAL };
        let e = large.sheet(Paper::A4).unwrap_err();
        assert!(e.kind() == ErrorKind::Usage && e.what().contains("280.0 x 196.0 mm and does not fit A4"), "{e}");
        let upright = Chessboard { columns: 6, rows: 9, square_mm: 25.0 };
        assert_eq!(upright.sheet(Paper::A4).unwrap().paper_mm(), (210.0, 297.0));
        assert!(Chessboard { columns: 1, ..USUAL }.sheet(Paper::A4).is_err());
        assert!(Chessboard { square_mm: f64::NAN, ..USUAL }.sheet(Paper::A4).is_err());
    }

    #[test]
    fn the_words_of_a_profile() {
        assert_eq!(USUAL.to_string(), "9x6 inner corners, 25 mm");
        assert!(!USUAL.shows_mirroring() && Chessboard { rows: 7, ..USUAL }.shows_mirroring());
    }
}
