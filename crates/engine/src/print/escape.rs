//! Text made safe to stand in HTML and SVG.

/// The text with the five characters that mean something in markup written as references, and control
/// characters, which XML forbids, as spaces.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => out.push(' '),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::escape;

    #[test]
    fn markup_becomes_text() {
        assert_eq!(escape("<b a='1'>\"&\u{1}"), "&lt;b a=&#39;1&#39;&gt;&quot;&amp; ");
    }
}
