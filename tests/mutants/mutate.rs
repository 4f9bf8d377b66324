//! Writes mutated copies of source files: every mutant stands in the copy, and
//! `trimproof_switch::on(ID)` chooses one when the program runs. So thousands of mutants cost one
//! build.
//!
//! Arguments: the folder of the sources, the folder of the copy, a file with the numbers of mutants
//! to leave out (those that the compiler refuses), then the files, relative to both folders. On
//! standard output, a line of JSON for each mutant.

mod sites;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use serde::Serialize;
use sites::{Kind, Site};

/// A mutant, as it is printed.
#[derive(Serialize)]
struct Mutant<'a> {
    id: u32,
    file: &'a str,
    line: usize,
    function: &'a str,
    kind: Kind,
    from: &'a str,
    to: &'a str,
    /// Bytes of the copy that hold it.
    begin: usize,
    end: usize,
}

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [from, to, refused, files @ ..] = arguments.as_slice() else {
        eprintln!("usage: mutate FROM TO REFUSED FILE...");
        std::process::exit(2);
    };
    let refused: BTreeSet<u32> = fs::read_to_string(refused)
        .unwrap_or_default()
        .split_whitespace()
        .map(|id| id.parse().expect("a number"))
        .collect();
    let mut next = 1;
    for file in files {
        let text = fs::read_to_string(Path::new(from).join(file)).expect("a source file");
        let found = sites::find(&text);
        let mut writer = Writer {
            text: &text,
            sites: &found.sites,
            unconst: &found.unconst,
            out: String::new(),
            file,
            next,
            refused: &refused,
        };
        writer.range(0, text.len(), 0, found.sites.len());
        next = writer.next;
        let copy = Path::new(to).join(file);
        // What is as it was is not built again.
        if fs::read_to_string(&copy).ok().as_ref() != Some(&writer.out) {
            fs::write(copy, &writer.out).expect("the copy can be written");
        }
    }
}

struct Writer<'a> {
    text: &'a str,
    /// Outer sites before inner ones, in the order in which they begin.
    sites: &'a [Site],
    /// Where the word `const` stands before `fn`.
    unconst: &'a [usize],
    out: String,
    file: &'a str,
    next: u32,
    refused: &'a BTreeSet<u32>,
}

impl Writer<'_> {
    /// Writes the bytes `begin..end`, in which the sites `first..last` lie.
    fn range(&mut self, begin: usize, end: usize, first: usize, last: usize) {
        let mut at = begin;
        let mut index = first;
        while index < last {
            let site = &self.sites[index];
            let mut after = index + 1;
            while after < last && self.sites[after].begin < site.end {
                after += 1;
            }
            self.plain(at, site.begin);
            self.site(index, after);
            at = site.end;
            index = after;
        }
        self.plain(at, end);
    }

    fn site(&mut self, index: usize, after: usize) {
        let site = &self.sites[index];
        match site.kind {
            Kind::Body => {
                // Nothing is replaced: the way out comes first.
                for to in &site.to {
                    self.mutant(site, to, |id, to| {
                        format!(" if trimproof_switch::on({id}) {{ return {to}; }}")
                    });
                }
            }
            Kind::Arm => {
                self.mutant(site, "", |id, _| {
                    format!(" if !trimproof_switch::on({id}) ")
                });
            }
            _ => {
                self.out.push('(');
                for to in &site.to {
                    self.mutant(site, to, |id, to| {
                        format!("if trimproof_switch::on({id}) {{ {to} }} else ")
                    });
                }
                self.out.push_str("{ (");
                self.range(site.begin, site.end, index + 1, after);
                self.out.push_str(") })");
            }
        }
    }

    fn mutant(&mut self, site: &Site, to: &str, put: impl FnOnce(u32, &str) -> String) {
        let id = self.next;
        self.next += 1;
        if self.refused.contains(&id) {
            return;
        }
        let begin = self.out.len();
        self.out.push_str(&put(id, to));
        let mutant = Mutant {
            id,
            file: self.file,
            line: self.text[..site.begin].lines().count().max(1),
            function: &site.function,
            kind: site.kind,
            from: &site.from,
            to,
            begin,
            end: self.out.len(),
        };
        println!("{}", serde_json::to_string(&mutant).expect("plain"));
    }

    fn plain(&mut self, begin: usize, end: usize) {
        let mut at = begin;
        for word in self
            .unconst
            .iter()
            .filter(|word| (begin..end).contains(word))
        {
            self.out.push_str(&self.text[at..*word]);
            at = word + "const ".len();
        }
        self.out.push_str(&self.text[at..end]);
    }
}
