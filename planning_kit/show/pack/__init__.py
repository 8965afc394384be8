"""The review pack: one content, shown as HTML, PDF, XLSX and pocket sheets."""
