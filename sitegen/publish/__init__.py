"""Writing: the only room that does. A publication is built aside and swapped in whole."""
