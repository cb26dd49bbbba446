"""The documents as pages for a browser, made from `docs/*.md`; they need no internet."""
