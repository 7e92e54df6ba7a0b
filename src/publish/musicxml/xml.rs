//! XML as a tree of elements, as far as a reader of scores needs it.
//!
//! Input: text. Output: the root [`Element`], or where reading stopped ([`BadXml`]). Units: lines from 1.
//! Method: quick-xml's events, put together; entities are the five of XML and characters by number. Limits: no namespaces, no entities of a document's own;
//! elements at most [`DEEPEST`] deep.

use quick_xml::escape::resolve_predefined_entity;
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};
use std::str::FromStr;

/// No score is deeper.
const DEEPEST: usize = 64;

/// An element.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Element {
    /// Its name.
    pub name: String,
    /// Its attributes.
    pub attributes: Vec<(String, String)>,
    /// The text directly in it.
    pub text: String,
    /// The elements in it.
    pub children: Vec<Element>,
}

/// Why a text is no XML.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadXml {
    /// It stops making sense.
    #[error("its line {line} is damaged ({what})")]
    Damaged {
        /// From 1.
        line: usize,
        /// In words.
        what: String,
    },
    /// It ends too early.
    #[error("it ends in the middle")]
    EndsEarly,
    /// Elements in elements without end.
    #[error("its line {line} is nested too deeply")]
    TooDeep {
        /// From 1.
        line: usize,
    },
}

impl Element {
    /// The elements of this name in it.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Self> {
        self.children.iter().filter(move |child| child.name == name)
    }

    /// The first of them.
    pub fn first(&self, name: &str) -> Option<&Self> {
        self.children.iter().find(|child| child.name == name)
    }

    /// The text of the first, without blanks around it.
    pub fn text_of(&self, name: &str) -> Option<&str> {
        self.first(name).map(|child| child.text.trim())
    }

    /// The same as a number.
    pub fn number<T: FromStr>(&self, name: &str) -> Option<T> {
        self.text_of(name)?.parse().ok()
    }

    /// The attribute of this name.
    pub fn attribute(&self, name: &str) -> Option<&str> {
        let found = self.attributes.iter().find(|(known, _)| known == name);
        found.map(|(_, value)| value.as_str())
    }

    fn of(start: &BytesStart<'_>) -> Result<Self, String> {
        let mut element = Self {
            name: start.name().as_ref().to_owned(),
            ..Self::default()
        };
        for attribute in start.attributes() {
            let attribute = attribute.map_err(|wrong| wrong.to_string())?;
            let value = attribute
                .normalized_value(XmlVersion::Implicit1_0)
                .map_err(|e| e.to_string())?;
            let name = attribute.key.as_ref().to_owned();
            element.attributes.push((name, value.into_owned()));
        }
        Ok(element)
    }
}

/// Reads a document.
///
/// # Errors
/// If it is not well formed.
pub fn read_xml(text: &str) -> Result<Element, BadXml> {
    let mut reader = Reader::from_str(text);
    let mut open: Vec<Element> = Vec::new();
    loop {
        let event = reader.read_event();
        let reached = (reader.buffer_position() as usize).min(text.len());
        let line = || {
            let before = text.as_bytes()[..reached].iter();
            1 + before.filter(|&&byte| byte == b'\n').count()
        };
        let damaged = |what: String| BadXml::Damaged { line: line(), what };
        let closed = match event.map_err(|wrong| damaged(wrong.to_string()))? {
            Event::Start(_) if open.len() == DEEPEST => {
                return Err(BadXml::TooDeep { line: line() });
            }
            Event::Start(start) => {
                open.push(Element::of(&start).map_err(damaged)?);
                None
            }
            Event::Empty(start) => Some(Element::of(&start).map_err(damaged)?),
            Event::End(_) => open.pop(),
            Event::Eof => return Err(BadXml::EndsEarly),
            Event::Text(words) => {
                add(&mut open, &words.xml10_content());
                None
            }
            Event::CData(words) => {
                add(&mut open, &words.xml10_content());
                None
            }
            Event::GeneralRef(entity) => {
                let number = entity
                    .resolve_char_ref()
                    .map_err(|e| damaged(e.to_string()))?;
                match number {
                    Some(letter) => add(&mut open, letter.encode_utf8(&mut [0; 4])),
                    None => {
                        let known = resolve_predefined_entity(&entity.xml10_content());
                        add(&mut open, known.unwrap_or_default());
                    }
                }
                None
            }
            _ => None,
        };
        if let Some(element) = closed {
            match open.last_mut() {
                Some(around) => around.children.push(element),
                None => return Ok(element),
            }
        }
    }
}

fn add(open: &mut [Element], words: &str) {
    if let Some(element) = open.last_mut() {
        element.text.push_str(words);
    }
}
