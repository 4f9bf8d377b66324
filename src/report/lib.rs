//! Pictures and pages: what was run, measured and sized, for people who would rather look than
//! read.
//!
//! Comes in: traces, judgements, records, figures. Goes out: SVG, PNG (feature `png`), HTML; all as
//! text or bytes, no file is written here. The same input gives the same bytes on every machine:
//! fonts are built in, nothing asks the system.
//!
//! ```
//! use trimproof_report::page::{Block, Page, Section, render};
//!
//! let text = Block::Text("the stick <held>".to_owned());
//! let page = render(&Page {
//!     title: "A page".to_owned(),
//!     sections: vec![Section { head: "What was seen".to_owned(), blocks: vec![text] }],
//!     ..Page::default()
//! });
//! // Texts are escaped, and the cautions stand on every page.
//! assert!(page.contains("the stick &lt;held&gt;") && page.contains("moves and pinches"));
//! ```

pub mod page;
pub mod picture;
