//! The XML parts of a workbook, tag by tag: what is not well formed or breaks off is told before
//! the reader of workbooks sees it, which may wait for ever for an end that does not come.

use std::borrow::Cow;
use std::io::{BufRead, Read};

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::error::ReadError;

/// A text of a part, from tag to tag; far more than a cell may hold.
pub(super) const LONGEST_TEXT: u64 = 1 << 20;

/// Attributes of a tag; the first tag of an OpenDocument has some fifty. The reader of workbooks compares each with
/// all before it.
pub(super) const MOST_ATTRIBUTES: usize = 256;

/// Bytes of a tag up to which its attributes aren't counted: one takes five at least.
const SHORT_TAG: usize = 5 * MOST_ATTRIBUTES;

/// Why a part is not read.
pub(super) enum Fault {
    /// It can't be unpacked, it is not well formed, or it breaks off.
    Broken,
    /// A text or a tag of it is far longer than a cell may hold.
    LongText,
    /// A tag has far more attributes than any has.
    ManyAttributes,
    Refused(ReadError),
}

impl From<ReadError> for Fault {
    fn from(error: ReadError) -> Self {
        Self::Refused(error)
    }
}

/// What stands in a part, in its order.
pub(super) enum Markup<'a> {
    Start(&'a Tag<'a>),
    /// The local name of the element that ends; an empty element ends where it starts.
    End(&'a str),
    /// A text between tags, or a part of it.
    Text(&'a [u8]),
}

/// A tag that starts an element.
pub(super) struct Tag<'a>(BytesStart<'a>);

impl Tag<'_> {
    /// The name without its prefix.
    pub(super) fn name(&self) -> &str {
        std::str::from_utf8(self.0.local_name().into_inner()).unwrap_or_default()
    }

    /// Its bytes.
    pub(super) fn length(&self) -> usize {
        self.0.len()
    }

    /// The value of an attribute by its whole name.
    pub(super) fn attribute(&self, name: &str) -> Option<Cow<'_, str>> {
        let mut attributes = self.0.attributes();
        // Where one stands twice the first is as good as the second.
        attributes.with_checks(false);
        let found = attributes.flatten().find(|attribute| attribute.key.as_ref() == name.as_bytes())?;
        let text = std::str::from_utf8(match &found.value {
            Cow::Borrowed(bytes) => bytes,
            Cow::Owned(bytes) => bytes,
        })
        .ok()?;
        Some(Cow::Owned(quick_xml::escape::unescape(text).map_or_else(|_| text.to_owned(), Cow::into_owned)))
    }

    /// A whole number that an attribute holds.
    pub(super) fn number(&self, name: &str) -> Option<u64> {
        self.attribute(name)?.parse().ok()
    }

    pub(super) fn has_attribute(&self, is: impl Fn(&str) -> bool) -> bool {
        let mut attributes = self.0.attributes();
        attributes.with_checks(false);
        attributes.flatten().any(|attribute| std::str::from_utf8(attribute.key.as_ref()).is_ok_and(&is))
    }
}

/// Bytes up to the next tag, counted: a text is held whole while it is read.
struct Counted<R> {
    inner: R,
    since_tag: u64,
}

impl<R: BufRead> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = self.fill_buf()?.read(buffer)?;
        self.consume(count);
        Ok(count)
    }
}

impl<R: BufRead> BufRead for Counted<R> {
    fn fill_buf(&mut self) -> std::io::Result<&[u8]> {
        if self.since_tag > LONGEST_TEXT {
            return Err(std::io::ErrorKind::FileTooLarge.into());
        }
        self.inner.fill_buf()
    }

    fn consume(&mut self, count: usize) {
        self.since_tag += count as u64;
        self.inner.consume(count);
    }
}

/// Shows every tag and text of a part.
pub(super) fn each(part: &mut impl BufRead, mut see: impl FnMut(Markup)) -> Result<(), Fault> {
    let mut reader = Reader::from_reader(Counted { inner: part, since_tag: 0 });
    let (mut buffer, mut depth) = (Vec::new(), 0_u64);
    loop {
        buffer.clear();
        reader.get_mut().since_tag = 0;
        let event = reader.read_event_into(&mut buffer).map_err(|error| match error {
            quick_xml::Error::Io(error) if error.kind() == std::io::ErrorKind::FileTooLarge => Fault::LongText,
            _ => Fault::Broken,
        })?;
        if let Event::Start(tag) | Event::Empty(tag) = &event
            && tag.len() > SHORT_TAG
            && tag.attributes().with_checks(false).take(MOST_ATTRIBUTES + 1).count() > MOST_ATTRIBUTES
        {
            return Err(Fault::ManyAttributes);
        }
        match event {
            Event::Start(tag) => {
                depth += 1;
                see(Markup::Start(&Tag(tag)));
            }
            Event::Empty(tag) => {
                let tag = Tag(tag);
                see(Markup::Start(&tag));
                see(Markup::End(tag.name()));
            }
            Event::End(tag) => {
                depth = depth.checked_sub(1).ok_or(Fault::Broken)?;
                see(Markup::End(std::str::from_utf8(tag.local_name().into_inner()).unwrap_or_default()));
            }
            Event::Text(text) => see(Markup::Text(&text)),
            Event::CData(text) => see(Markup::Text(&text)),
            // Entities in a text; `&#10;` stands for one letter.
            Event::GeneralRef(entity) => {
                let letter = match &*entity {
                    b"quot" => '"',
                    b"apos" => '\'',
                    b"amp" => '&',
                    b"lt" => '<',
                    b"gt" => '>',
                    _ => entity.resolve_char_ref().ok().flatten().unwrap_or('?'),
                };
                see(Markup::Text(letter.encode_utf8(&mut [0; 4]).as_bytes()));
            }
            Event::Eof => return if depth == 0 { Ok(()) } else { Err(Fault::Broken) },
            Event::Decl(_) | Event::PI(_) | Event::DocType(_) | Event::Comment(_) => {}
        }
    }
}

/// Shows every tag that starts an element.
pub(super) fn tags(part: &mut impl BufRead, mut see: impl FnMut(&Tag)) -> Result<(), Fault> {
    each(part, |markup| {
        if let Markup::Start(tag) = markup {
            see(tag);
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(text: &str) -> Result<Vec<String>, &'static str> {
        let mut all = Vec::new();
        let result = each(&mut text.as_bytes(), |markup| {
            all.push(match markup {
                Markup::Start(tag) => format!("<{} {}", tag.name(), tag.attribute("a").unwrap_or_default()),
                Markup::End(name) => format!("/{name}"),
                Markup::Text(text) => text.len().to_string(),
            });
        });
        result.map(|()| all).map_err(|fault| match fault {
            Fault::Broken => "broken",
            Fault::LongText => "long",
            Fault::ManyAttributes => "many",
            Fault::Refused(_) => "refused",
        })
    }

    #[test]
    fn tags_and_texts_come_in_their_order() {
        assert_eq!(
            seen("<?xml version='1.0'?><x:t b='0' a = \"1&amp;2\"><y/>abc</x:t>").unwrap(),
            ["<t 1&2", "<y ", "/y", "3", "/t"]
        );
    }

    #[test]
    fn a_tag_of_many_attributes_is_told() {
        let tag = |count: usize| {
            let attributes: String = (0..count).map(|at| format!(" a{at}=''")).collect();
            seen(&format!("<t{attributes}/>")).map(|all| all.len())
        };
        assert_eq!(tag(MOST_ATTRIBUTES), Ok(2));
        assert_eq!(tag(MOST_ATTRIBUTES + 1), Err("many"));
    }

    #[test]
    fn what_breaks_off_or_crosses_is_broken() {
        for text in ["<t><row>", "<t><row></t>", "<t", "</t>", "<t a='"] {
            assert_eq!(seen(text), Err("broken"), "{text}");
        }
        let long = "x".repeat(usize::try_from(LONGEST_TEXT).unwrap() * 2);
        assert_eq!(seen(&format!("<t>{long}</t>")).map(|all| all.len()), seen("<t/>").map(|_| 3));
    }
}
