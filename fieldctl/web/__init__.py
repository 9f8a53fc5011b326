"""The phone pages and the API: HTTP in, verbs of the controller out; what is shown comes from the controller as it is.

    rights    who may what                        house      what every part of the web is given
    accounts  people with rights, phones, codes   signing    whose request this is; the pages of signing in and pairing
    guard     hosts, headers, hostile pages       app        everything put together       server    uvicorn in our loop
    views     what each audience may see          board      rows with versions            stream    one event stream
    asking    a verb asked for over HTTP          api        the verbs as an OpenAPI document
    pages     the pages                           texts/     every sentence in four languages (words.py reads them)
    metrics   what a Prometheus server may read: no hint, no name

Only this package imports FastAPI, and only `cli` imports this package.
"""
