//! Pages: one HTML file that opens from disk, with tables and pictures inside it and nothing
//! fetched from anywhere.
//!
//! No script, no outside address, no time of day: the same input gives the same bytes. Every text
//! is escaped. The cautions stand on every page.

mod prove;
#[cfg(test)]
mod tests;

pub use prove::prove;

use crate::picture::inline;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use trimproof_diagnostics::{brief, prose};

/// What every page says at its end: cautions, and what it is not.
pub const CAUTIONS: [&str; 4] = [
    "A powered rig moves and pinches. Keep hands clear, have an emergency stop within reach, set the drivers' current limit, and \
     follow your local electrical code and licensed practice.",
    "What is said of the twin is a statement about the twin, not about your workshop.",
    "This is no certification and no qualification: published tolerances are used as a yardstick, and no authority has looked \
     at this page.",
    "Motor heating and saturation, friction in contacts and bending of frames are not modelled.",
];

/// Longest text on a page that is shown whole, characters.
const PAGE_TEXT_MAX: usize = 8000;

/// A page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Page {
    /// Title.
    pub title: String,
    /// What comes out, in a sentence or two.
    pub lead: String,
    /// What was run: names and values.
    pub facts: Vec<(String, String)>,
    /// The rest, in order.
    pub sections: Vec<Section>,
}

/// A part of a page under its own heading.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Section {
    /// Heading.
    pub head: String,
    /// What stands below it.
    pub blocks: Vec<Block>,
}

/// One thing on a page.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A heading inside a section.
    Head(String),
    /// A paragraph.
    Text(String),
    /// Names and values below each other.
    Entries(Vec<(String, String)>),
    /// A table.
    Table(Table),
    /// A picture.
    Figure(Figure),
}

/// A table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Names of the columns.
    pub head: Vec<String>,
    /// Rows. Columns that hold nothing but numbers are set to the right.
    pub rows: Vec<Vec<String>>,
    /// How each row is marked; rows without an entry are plain.
    pub tones: Vec<Tone>,
}

/// How a row is marked, beside the words in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// Not at all.
    #[default]
    Plain,
    /// It held.
    Good,
    /// It did not.
    Bad,
}

impl Tone {
    fn class(self) -> Option<&'static str> {
        match self {
            Self::Plain => None,
            Self::Good => Some("good"),
            Self::Bad => Some("bad"),
        }
    }
}

/// A picture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figure {
    /// What it shows.
    pub caption: String,
    /// SVG text, as [`crate::picture`] makes it.
    pub svg: String,
}

/// Makes the HTML file.
pub fn render(page: &Page) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (clean(&page.title)) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    h1 { (clean(&page.title)) }
                    @if !page.lead.is_empty() { p.lead { (clean(&page.lead)) } }
                    @if !page.facts.is_empty() {
                        h2 { "What was run" }
                        (entries(&page.facts))
                    }
                    @for section in &page.sections { (section_markup(section)) }
                    h2 { "Cautions" }
                    ul.cautions { @for caution in CAUTIONS { li { (caution) } } }
                    p.small {
                        "Tables and pictures were made by trimproof; this file holds no script, no font and no work of others, and "
                        "fetches nothing."
                    }
                }
            }
        }
    };
    let mut text = markup.into_string();
    text.push('\n');
    text
}

fn section_markup(section: &Section) -> Markup {
    html! {
        section {
            h2 { (clean(&section.head)) }
            @for block in &section.blocks {
                @match block {
                    Block::Head(text) => h3 { (clean(text)) },
                    Block::Text(text) => p { (clean(text)) },
                    Block::Entries(values) => (entries(values)),
                    Block::Table(table) => (table_markup(table)),
                    Block::Figure(figure) => {
                        figure {
                            div.scroll { (PreEscaped(inline(&figure.svg))) }
                            @if !figure.caption.is_empty() { figcaption { (clean(&figure.caption)) } }
                        }
                    },
                }
            }
        }
    }
}

fn entries(values: &[(String, String)]) -> Markup {
    html! {
        dl { @for (name, value) in values { dt { (clean(name)) } dd { (clean(value)) } } }
    }
}

fn table_markup(table: &Table) -> Markup {
    let columns = table.rows.iter().map(Vec::len).max().unwrap_or(0);
    let right: Vec<bool> = (0..columns)
        .map(|column| {
            let mut cells = table
                .rows
                .iter()
                .filter_map(|row| row.get(column))
                .peekable();
            cells.peek().is_some() && cells.all(|cell| is_number(cell))
        })
        .collect();
    let class = |column: usize| {
        right
            .get(column)
            .is_some_and(|right| *right)
            .then_some("number")
    };
    html! {
        div.scroll {
            table {
                @if !table.caption.is_empty() { caption { (clean(&table.caption)) } }
                thead { tr {
                    @for (column, name) in table.head.iter().enumerate() { th scope="col" class=[class(column)] { (clean(name)) } }
                } }
                tbody {
                    @for (index, row) in table.rows.iter().enumerate() {
                        tr class=[table.tones.get(index).and_then(|tone| tone.class())] {
                            @for (column, cell) in row.iter().enumerate() { td class=[class(column)] { (clean(cell)) } }
                        }
                    }
                }
            }
        }
    }
}

/// Whether a cell is a number, perhaps with a sign and a unit, or nothing.
fn is_number(cell: &str) -> bool {
    let first = cell.trim_start_matches(['+', '-', '±']).chars().next();
    first.is_none_or(|first| first.is_ascii_digit())
}

/// Text in which everything can be seen, on one line; escaping is maud's.
fn clean(text: &str) -> String {
    brief(&prose(text), PAGE_TEXT_MAX).into_owned()
}

/// All readers can distinguish blue for good and vermillion for bad (Okabe and Ito, 2008, from
/// memory); the words say it too.
const STYLE: &str = "\
:root{color-scheme:light}\
body{margin:0;background:#fff;color:#22262b;font:16px/1.45 system-ui,sans-serif}\
main{max-width:60rem;margin:0 auto;padding:1rem}\
h1{font-size:1.6rem;line-height:1.2;margin:.4rem 0 .6rem}\
h2{font-size:1.2rem;margin:2rem 0 .6rem;padding-bottom:.2rem;border-bottom:2px solid #0072b2}\
h3{font-size:1.02rem;margin:1.6rem 0 .4rem;overflow-wrap:anywhere}\
.lead{font-size:1.1rem}\
.small{font-size:.85rem;color:#555b63}\
dl{display:grid;grid-template-columns:max-content 1fr;gap:.2rem 1rem;margin:.4rem 0}\
dt{color:#555b63}\
dd{margin:0;overflow-wrap:anywhere}\
.scroll{overflow-x:auto;margin:.6rem 0}\
table{border-collapse:collapse;font-size:.92rem;width:100%}\
caption{text-align:left;color:#555b63;padding:.2rem 0}\
th,td{text-align:left;vertical-align:top;padding:.28rem .6rem .28rem .4rem;border-bottom:1px solid #e3e6ea}\
td:last-child{min-width:12rem}\
th{white-space:nowrap;border-bottom:1px solid #9aa1aa}\
.number{text-align:right;white-space:nowrap;font-variant-numeric:tabular-nums}\
tr.good td:first-child{color:#0072b2;font-weight:600}\
tr.bad td:first-child{color:#b34a00;font-weight:700}\
tr.bad{background:#fdf1e8}\
figure{margin:.8rem 0;break-inside:avoid}\
figure svg{display:block;width:100%;min-width:40rem;max-width:760px;height:auto}\
figcaption{font-size:.88rem;color:#555b63}\
.cautions li{margin:.3rem 0}\
@media(max-width:34rem){dl{grid-template-columns:1fr}dd{margin-bottom:.4rem}}\
@media print{body{font-size:10.5pt}main{max-width:none;padding:0}figure svg{min-width:0;max-width:100%;max-height:23cm}\
.scroll{overflow:visible}tr,h2,h3{break-inside:avoid}h2,h3{break-after:avoid}@page{margin:15mm}}";
