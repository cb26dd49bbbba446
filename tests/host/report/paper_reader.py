"""Read a PDF with a reader that is not ours: PDFium, the one in Chromium."""

from tests.support.parts import need_python_module


class Pages:
    """The pages of a PDF as text and as grey pictures."""

    def __init__(self, path):
        need_python_module("pypdfium2", "pip install pypdfium2")
        import pypdfium2

        with pypdfium2.PdfDocument(path) as document:
            self.sizes = [page.get_size() for page in document]
            self.texts = [
                " ".join(page.get_textpage().get_text_range().split()) for page in document
            ]
            self.grey = [page.render(scale=1.5).to_pil().convert("L") for page in document]
            self.told = document.get_metadata_dict()

    @property
    def text(self):
        return " ".join(self.texts).replace("\N{NO-BREAK SPACE}", " ")

    def lowest_ink(self, number, above):
        """Return how far down a page has ink, in parts of its height, above the part `above`."""
        picture = self.grey[number]
        part = picture.crop((0, 0, picture.width, round(above * picture.height)))
        box = part.point(lambda grey: 255 * (grey < 128)).getbbox()
        return box[3] / picture.height if box else 0.0
