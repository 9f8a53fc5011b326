/* Switches for tests only: each makes the core break one requirement of `fieldctl certify`, and nothing else. What each
   does wrong stands beside the requirement in fieldctl/certify/requirements.py (`breaks`). A build for use has none. */
#ifndef FIELDCTL_BREAKS_H
#define FIELDCTL_BREAKS_H


#endif
